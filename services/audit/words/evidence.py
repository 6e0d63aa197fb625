"""What was done to keep the record provable, in words."""

from contracts.evidence import EpochBegun, KeyAdopted
from services.audit.words.scene import Scene, Words, spoken


def _begun(data: EpochBegun, _: Scene) -> str:
    lost = f"what is known to have been recorded before at positions {data.lost_first} to {data.lost_last} was lost"
    return f"The log went on as epoch {data.epoch} after a restore ({spoken(data.cause)}); {lost}."


WORDS: Words = {
    KeyAdopted: lambda d, _: (
        f"From the next checkpoint on the key {d.vkey} signs{' in the place of ' + d.replaces if d.replaces else ''}."
    ),
    EpochBegun: _begun,
}
