"""A body that does not fit is refused in words that somebody at a desk can act on."""

import msgspec
import pytest

from contracts.catalogue import COMMANDS
from contracts.words import StaffId
from services.core.plainly import plainly

NAME_RULE = (
    "A name here has 1 to 64 letters without accents, digits, dots, underscores and hyphens, "
    "begins with a letter or a digit, and has no spaces"
)
REFUSED = {
    "an age between two bands": (
        "registration/register-person",
        b'{"person":"ada","age_band":15}',
        "15 does not fit: it can be 0, 8, 10, 12, 14, 16, 18",
        "$.age_band",
    ),
    "a hold lifted without a sweep": (
        "games/lift-hold",
        b'{"hold":"h1","field":"birch","swept":false}',
        "False does not fit: it can be true",
        "$.swept",
    ),
    "a colour of one line of a game list": (
        "games/call-game",
        b'{"game":"g1","field":"birch","entrants":[{"player":"p1","colour":"red"},{"player":"p2","colour":"mauve"}]}',
        '\'mauve\' does not fit: it can be "blue", "green", "orange", "red", "white", "yellow"',
        "$.entrants[1].colour",
    ),
    "a colour that could be left out": (
        "discipline/caution",
        b'{"caution":"c1","violation":"wiping","colour":"mauve"}',
        '\'mauve\' does not fit: it can be "blue", "green", "orange", "red", "white", "yellow"',
        "$.colour",
    ),
    "a role deep in the rules": (
        "park/adopt-rules",
        b'{"rules":{"version":"x","discipline":{"catalogue":[{"code":"xx","weight":3,"title":"t","by":["referee"]}]}}}',
        "3 does not fit: it can be 0, 1, 2",
        "$.rules.discipline.catalogue[0].weight",
    ),
    "a name with a space": ("registration/register-person", b'{"person":"A B","age_band":0}', NAME_RULE, "$.person"),
    "a type of event": (
        "reading/open-webhook",
        b'{"webhook":"w","url":"https://a.example","types":["games"]}',
        "Expected something of the form of games.game_ended or games.*",
        "$.types[0]",
    ),
    "a place that may be left out": (
        "reading/open-webhook",
        b'{"webhook":"w","url":"https://a.example","after":"7"}',
        "Expected something of the form of 1:4711",
        "$.after",
    ),
    "a form without an example": (
        "discipline/caution",
        b'{"caution":"c1","violation":"No!"}',
        r"Expected `str` matching regex '^[a-z][a-z0-9-]{1,39}$(?!\\n)'",
        "$.violation",
    ),
    "a field that is missing": (
        "registration/register-person",
        b'{"person":"ada"}',
        "Object missing required field `age_band`",
        "$",
    ),
}


@pytest.mark.parametrize(("path", "body", "what", "where"), REFUSED.values(), ids=REFUSED)
def test_a_body_that_does_not_fit_is_told_what_would(path, body, what, where):
    kind = COMMANDS[path]
    with pytest.raises(msgspec.ValidationError) as refused:
        msgspec.json.decode(body, type=kind)
    assert plainly(refused.value, kind) == (what, where)


def test_a_name_alone_is_told_the_same():
    with pytest.raises(msgspec.ValidationError) as refused:
        msgspec.convert("staff wren", StaffId)
    assert plainly(refused.value, StaffId) == (NAME_RULE, "$")
