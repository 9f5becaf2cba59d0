"""The examination on the screen: state, edits, reader, view, actions, and the screen that holds them.

A key goes to a row of `wardexam.terminal.keys`, that names an action of `actions.ACTIONS`; what it
writes is made in `edits`, and `view` draws what `state` holds.
"""
