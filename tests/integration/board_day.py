"""A small Saturday at a live park, sent over HTTP as its stations would: three fields, a few players, games."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import httpx

from contracts.rules import Rules
from services.core.rules import operating_day
from tests.integration.live import Live

COLOURS = ("red", "blue")


class BoardDay:
    """Each method is what one station does; every answer must be 201 unless the test says otherwise."""

    def __init__(self, live: Live) -> None:
        self.live = live
        self.numbers = 0

    def send(self, command: str, body: Any, *, expect: int = 201) -> Any:
        answer = self.live.post(command, body)
        assert answer.status_code == expect, answer.text
        return answer.json()

    def name(self, kind: str) -> str:
        self.numbers += 1
        return f"{kind}-{self.numbers}"

    @property
    def today(self) -> date:
        return operating_day(Rules(version="any"), self.live.running.parks[self.live.park].clock.now())

    def open(self, *fields: str, rules: Rules | None = None) -> None:
        """Fields inspected, each with a referee; a first aider; a chronograph that is good."""
        if rules is not None:
            self.send("park/adopt-rules", {"rules": rules})
        self.send("park/open-day", {"opened": self.today.isoformat()})
        self.staff("first_aider", None)
        self.send("velocity/register-chrono", {"chrono": "bench-1"})
        self.send("velocity/check-chrono", {"chrono": "bench-1", "good": True})
        for field in fields:
            self.field(field)

    def field(self, field: str, **more: Any) -> None:
        self.send("games/configure-field", {"field": field, "title": field.title()} | more)
        self.send("games/inspect-field", {"field": field, "passed": True})
        for _ in range(2):
            self.staff("referee", field)

    def staff(self, post: str, field: str | None) -> None:
        staff = self.name("staff")
        until = (datetime.now(UTC) + timedelta(days=90)).date().isoformat()
        self.send("duty/register-staff", {"staff": staff, "qualifications": [{"post": post, "until": until}]})
        self.send("duty/start-duty", {"staff": staff, "post": post, "field": field})

    def arrive(self, player: str, armband: int, age_band: int = 18, **more: Any) -> str:
        """Registered and no more."""
        self.send("registration/register-person", {"person": f"person-{player}", "age_band": age_band})
        body = {"player": player, "person": f"person-{player}", "day_pass": f"pass-{player}", "armband": armband}
        self.send("registration/register-player", body | more)
        return player

    def clear(self, player: str, fps: float = 270.0) -> str:
        """Paid, signed for, briefed, with a mask and a marker that was measured. Returns the marker."""
        payment = {"payment": self.name("pay"), "players": [player], "purpose": "entry", "means": "card"}
        self.send("registration/record-payment", payment | {"amount_minor": 2500})
        self.send("registration/sign-waiver", {"person": f"person-{player}", "wording": "w1"})
        self.send("registration/hold-briefing", {"briefing": self.name("b"), "version": 1, "players": [player]})
        marker = self.marker(fps)
        mask = self.name("mask")
        self.send("equipment/register-mask", {"mask": mask, "model": "Visor"})
        self.send("equipment/issue-gear", {"player": player, "mask": mask, "marker": marker})
        return marker

    def marker(self, fps: float) -> str:
        """A hired marker, measured."""
        marker = self.name("marker")
        self.send("equipment/register-marker", {"marker": marker, "model": "Heron"})
        readings = {
            "test": self.name("test"),
            "marker": marker,
            "chrono": "bench-1",
            "readings_fps": [fps, fps - 4, fps],
        }
        self.send("velocity/test-marker", readings)
        return marker

    def players(self, count: int, first: int = 1) -> list[str]:
        """So many who are cleared, with armbands from `first` on."""
        names = [self.arrive(f"p{number}", number) for number in range(first, first + count)]
        for name in names:
            self.clear(name)
        return names

    def call(self, game: str, field: str, players: list[str], **more: Any) -> None:
        entrants = [{"player": player, "colour": COLOURS[index % 2]} for index, player in enumerate(players)]
        self.send("games/call-game", {"game": game, "field": field, "entrants": entrants} | more)

    def start(self, game: str, field: str, players: list[str], **more: Any) -> None:
        self.call(game, field, players, **more)
        self.send("games/brief-game", {"game": game})
        self.send("games/start-game", {"game": game})

    def board(self) -> Any:
        """The status as of everything sent so far."""
        url = f"/parks/{self.live.park}/board.json"
        answer: httpx.Response = self.live.http.get(url, params={"at_least": f"1:{self.live.head()}"})
        assert answer.status_code == 200, answer.text
        return answer.json()
