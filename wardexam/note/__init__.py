"""What goes in the chart: the note, the referral, the handover. Examination in, text out."""
