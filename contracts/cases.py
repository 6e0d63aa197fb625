"""Case files: one case as a file that anybody can verify, without a database."""

from contracts.problems import NotInThatState, UnknownSubject
from contracts.read import BEHIND_A_KEY, Read
from contracts.what_if import AUDITORS

ZIP = "application/zip"
CASE_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/audit/cases/{kind}/{subject}",
        summary=(
            "One case as a ZIP: its events with their proofs, a checkpoint signed for it, the rules in force, the timeline for people, "
            "and how a stranger verifies it all. Of other players it holds nothing but an opaque id. The park and its rules are named as the park is."
        ),
        roles=AUDITORS,
        media=ZIP,
        problems=(*BEHIND_A_KEY, UnknownSubject, NotInThatState),
    ),
)
