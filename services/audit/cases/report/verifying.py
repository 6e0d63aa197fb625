"""What a case file proves, what it does not, and how a stranger checks it: the words of the report and of README.txt."""

CAUTIONS = (
    "This record supports judgement, and does not replace it. Whether a waiver or a consent binds, and who owes whom what, is for local law and for those who are licensed to say so.",
    "Paintball can hurt. Eye protection is never waived by any rule here. The referee on the field decides; local law, the insurer's rules and licensed practice come first.",
)
PROVES = (
    "Every event in this file stood in the park's log at its position when the checkpoint was signed, and not one byte of it has changed since.",
    "Nothing in this file has changed since the park signed its manifest.",
)
PROVES_NOT = (
    "That what was recorded is true: it is what the staff and devices named here said at the time.",
    "That nothing else happened. Events that are about others are not in this file.",
    "The timeline, the sentences and this report are the park's own statement about the events. So are the views of withheld events: their hashes are proven, what they say is not.",
    "The key is the park's only if you have it from elsewhere too: from an earlier file, from a checkpoint that you were given, or from the park's own publication.",
    "That verify.py in this file is the park's. Whoever changed the file could have changed that too: take it from a file that you trust, or check by hand.",
)
STEPS = (
    ("Unpack the file into an empty folder and go there.", ""),
    ("No file was changed since the manifest was made:", "sha256sum -c MANIFEST"),
    ("With one page of independent Python, which needs nothing installed:", "python3 -I verify.py"),
    ("The same with the key that you have from elsewhere:", "python3 -I verify.py --key 'KEY'"),
    (
        "By hand, the park's key signed the manifest. The key is the last line of keys.txt, and the last line of MANIFEST.sig holds the signature:",
        (
            "tail -n 1 keys.txt | cut -d+ -f3- | base64 -d | tail -c 32 > ../key.raw\n"
            "{ printf '\\060\\052\\060\\005\\006\\003\\053\\145\\160\\003\\041\\000'; cat ../key.raw; } > ../key.der\n"
            "tail -n 1 MANIFEST.sig | cut -d' ' -f3 | base64 -d | tail -c 64 > ../signature.raw\n"
            "openssl pkeyutl -verify -pubin -keyform DER -inkey ../key.der -rawin -in MANIFEST -sigfile ../signature.raw"
        ),
    ),
    ("The digest at the foot of every page of the report:", "sha256sum checkpoint.txt"),
)
"""Each step in words, with its command. The openssl lines need version 3."""
CONTENTS = (
    ("report.pdf", "the timeline for people, to be printed"),
    ("report.html", "the same for a browser; it asks for nothing from the network"),
    ("story.json", "the timeline for programs"),
    ("events/N.leaf", "the bytes of the event at position N, as they stand in the log"),
    ("events/N.view.json", "what may be told of a withheld event: the park's own statement"),
    ("proofs.json", "for each event the hashes that lead from it to the checkpoint"),
    ("checkpoint.txt", "how long the log was and what was in it, signed by the park"),
    ("keys.txt", "the park's keys, oldest first; the last one signed"),
    ("rotations/N.json", "the proof that the park adopted key N+1, signed by key N"),
    ("rules/VERSION.json", "the park rules in force"),
    ("verify.py", "one page of Python that checks all of it"),
    ("MANIFEST", "the SHA-256 of every other file"),
    ("MANIFEST.sig", "the manifest as a note that the park signed"),
)
FORMATS = (
    "A leaf is text: the lines `fieldledger leaf 1`, park, epoch, position and the time of recording in\n"
    "microseconds since 1970, then the event as JSON. Its hash is SHA-256 over a zero byte and the leaf.\n"
    "Tree and proofs are those of RFC 9162 section 2.1; leaf N has index N-1. Signatures are Ed25519 (RFC 8032).\n"
    "Notes and checkpoints have the forms that C2SP publishes as signed-note and tlog-checkpoint."
)


def steps() -> list[str]:
    """The steps as numbered lines, each with its command below it."""
    lines = []
    for number, (words, command) in enumerate(STEPS, 1):
        lines.append(f"{number}. {words}")
        lines += [f"     {line}" for line in command.splitlines()]
    return lines
