"""The park's own day, in words."""

from contracts.park import DayClosed, DayOpened, FlashSeen, RulesAdopted, ThunderHeard, WeatherRecorded
from services.audit.words.scene import Scene, Words, begun
from services.audit.words.weather import thunder, weather


def _closed(data: DayClosed, _: Scene) -> str:
    told = f"The operating day {data.closed:%Y-%m-%d} was closed"
    if data.still_here is None:
        return f"{told}."
    if not data.still_here:
        return f"{told}; everybody who was registered was recorded as having left."
    children = f", {data.minors_here} of them minors" if data.minors_here else ""
    return f"{told}; {data.still_here} of its players were not recorded as having left{children}."


WORDS: Words = {
    DayOpened: lambda d, _: f"The operating day {d.opened:%Y-%m-%d} was opened.",
    DayClosed: _closed,
    RulesAdopted: lambda d, _: f"Version {d.rules.version} of the park rules was adopted.",
    WeatherRecorded: lambda d, _: f"At staging it was {weather(d)}.",
    ThunderHeard: lambda d, _: f"{begun(thunder(d))} was heard.",
    FlashSeen: lambda _d, _s: "A flash of lightning was seen, and no thunder heard.",
}
