"""What a hospital asks of the tool before and while it uses it: `hazards`."""

import argparse

from wardexam.commands import edge


def hazards(options: argparse.Namespace) -> int:
    """Print the hazard log, who owns the rules, and what is switched off here."""
    from wardexam.governance.hazards import chosen
    from wardexam.governance.paper import log, log_json, log_lines

    wording, today = edge.spoken(options), edge.now().date()
    made = log(chosen(options.hazard) if options.hazard else None, wording, today)
    if options.json:
        import json

        edge.put(json.dumps(log_json(made), ensure_ascii=True, indent=2) + "\n")
    else:
        edge.put("".join(f"{line}\n" for line in log_lines(made, wording, today)))
    return 0
