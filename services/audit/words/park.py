"""The park's own day, in words."""

from contracts.park import DayClosed, DayOpened, FlashSeen, RulesAdopted, ThunderHeard, WeatherRecorded
from services.audit.words.scene import Words, begun
from services.audit.words.weather import thunder, weather

WORDS: Words = {
    DayOpened: lambda d, _: f"The operating day {d.opened:%Y-%m-%d} was opened.",
    DayClosed: lambda d, _: f"The operating day {d.closed:%Y-%m-%d} was closed.",
    RulesAdopted: lambda d, _: f"Version {d.rules.version} of the park rules was adopted.",
    WeatherRecorded: lambda d, _: f"At staging it was {weather(d)}.",
    ThunderHeard: lambda d, _: f"{begun(thunder(d))} was heard.",
    FlashSeen: lambda _d, _s: "A flash of lightning was seen, and no thunder heard.",
}
