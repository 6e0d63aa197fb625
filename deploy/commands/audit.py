"""`fieldledger audit …`: the record replayed, questioned and proven. Each kind of question registers its commands here."""

from cyclopts import App

AUDIT = App(name="audit", help="Replay, question and prove the record.")
