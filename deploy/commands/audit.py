"""`fieldledger audit …`: the record replayed, questioned and proven. A command's module is read when it is asked for."""

from cyclopts import App

AUDIT = App(name="audit", help="Replay, question and prove the record.")
for where, what in {
    "stories:story": "Tell all that the record holds about one subject.",
    "stories:find": "Find a player of a past day: by day pass or armband, or by what happened on a field between two instants.",
    "moments:at": "Tell a player's clearance for a field at a moment, or without them the park's status: as recorded, and as it happened.",
    "moments:what_if": "Tell every decision that would have been another without some events, or under other rules. It writes nothing.",
    "moments:replay": "Take every decision of a day anew, on what was recorded before it; exit 1 where one does not follow from that.",
    "cases:case": "Make the case file of one subject: a ZIP that anybody can verify.",
    "vault:access": "Open all that is kept about one person. That it was asked, and by whom, is put on the record first.",
    "check:check": "Hold every row of the log against the recorded bytes, and these against what was signed; exit 1 with findings.",
    "evidence:checkpoint": "Print the newest checkpoint, a signed note.",
    "evidence:rotate_key": "Adopt a new signing key, and print the checkpoint that it and the one it replaces have signed.",
    "evidence:proof": "Print as JSON the proof that an event lies under a checkpoint.",
    "evidence:consistency": "Print as JSON the proof that between two checkpoints nothing was changed, only added.",
}.items():
    AUDIT.command(f"deploy.commands.{where}", help=what)
