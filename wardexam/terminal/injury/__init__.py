"""The cord injury sheet on a screen: state, edits, view, and the screen that acts.

A key goes to a row of `wardexam.terminal.keys` and a ``do_<action>`` of the screen; what it writes is made in
`edits`, and `view` draws what `state` holds.
"""
