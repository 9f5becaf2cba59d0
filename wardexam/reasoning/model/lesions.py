"""Every lesion that is considered: each family generated from its tables."""

from wardexam.reasoning.model import brain_forms, cord_forms, diffuse_forms, limb_forms
from wardexam.reasoning.model.forms import Plan


def plan() -> Plan:
    """Every form of every family, in a fixed order."""
    made = Plan()
    for family in (
        brain_forms.brain, cord_forms.cord, cord_forms.conus_medullaris, cord_forms.cauda_equina,
        limb_forms.root, limb_forms.plexus, limb_forms.nerve, diffuse_forms.polyneuropathy,
        diffuse_forms.polyradiculoneuropathy, diffuse_forms.motor_neurone, diffuse_forms.junction,
        diffuse_forms.muscle, brain_forms.other, diffuse_forms.none,
    ):  # fmt: skip
        family(made)
    return made
