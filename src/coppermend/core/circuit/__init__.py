"""The circuit: which chip pins meet on which net, what each should do, and what happens to all of them when something fails."""
