"""The park's own day, in words."""

from contracts.park import DayClosed, DayOpened, RulesAdopted, WeatherRecorded
from services.audit.words.scene import Words

WORDS: Words = {
    DayOpened: lambda d, _: f"The operating day {d.opened:%Y-%m-%d} was opened.",
    DayClosed: lambda d, _: f"The operating day {d.closed:%Y-%m-%d} was closed.",
    RulesAdopted: lambda d, _: f"Version {d.rules.version} of the park rules was adopted.",
    WeatherRecorded: lambda d, _: f"It was {d.temperature_c:g} °C in the shade at staging.",
}
