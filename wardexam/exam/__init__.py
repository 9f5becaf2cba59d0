"""What was found: grades, scales, findings, examination, patient. No medicine beyond validity."""
