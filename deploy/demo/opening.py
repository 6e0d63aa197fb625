"""Before the gates open: rules, staff, fields, chronographs, and the hired fleet measured and sealed."""

from datetime import date, timedelta
from typing import Final, Literal

from msgspec.structs import replace

from contracts.duty import DoCheck, Qualification, RegisterStaff, StartDuty
from contracts.equipment import RegisterBottle, RegisterMarker, RegisterMask
from contracts.games import ConfigureField, InspectField
from contracts.park import AdoptRules, OpenDay, RecordWeather
from contracts.rules import CHECKS, BriefingRules, DutyRules, GameRules, Rules, TeamRules
from contracts.velocity import RegisterChrono
from deploy.demo.bench import BENCHES, CHRONOS, Bench
from deploy.demo.cast import FIELDS
from deploy.demo.markers import HIRED, LOW_IMPACT, MORNING_C, hired_markers
from deploy.demo.station import Station

WAITED_FOR: Final = frozenset({"netting", "emergency-access", "first-aid"})
"""The opening checks without which nobody plays at Larchmoor."""
RULES: Final = Rules(
    version="larchmoor-1",
    briefing=BriefingRules(version=3, urgent_version=3),
    games=GameRules(players_per_referee=15, first_aiders=2, teams=TeamRules(seconds=10.0)),
    duty=DutyRules(checks=tuple(replace(check, play_waits=check.code in WAITED_FOR) for check in CHECKS)),
)
CONFIGURATIONS: Final = (
    ConfigureField(field="birch", title="Birch Wood", capacity=50),
    ConfigureField(field="quarry", title="Old Quarry", capacity=50),
    ConfigureField(
        field="fern",
        title="Fern Hollow",
        limit_fps=230.0,
        stop_limit_fps=245.0,
        age_floor=8,
        calibres=(".50",),
        capacity=50,
    ),
)


async def open_park(manager: Station, head: Station, day: date, bench: Bench) -> None:
    """Everything that the opening checks ask for."""
    await manager.do(AdoptRules(rules=RULES))
    await manager.do(OpenDay(opened=day))
    await _fields_and_staff(manager, head, day)
    await check(head, "opening", torn="fern")
    for chrono in CHRONOS:
        await manager.do(RegisterChrono(chrono=chrono))
    await bench.check_all()
    await manager.do(RecordWeather(temperature_c=MORNING_C))
    await _fleet(manager, day, bench)


async def _fields_and_staff(manager: Station, head: Station, day: date) -> None:
    for configuration in CONFIGURATIONS:
        await manager.do(configuration)
    renewed = day + timedelta(days=120)
    for index, field in enumerate(FIELDS * 4, 1):
        await _on_duty(manager, f"ref-{index:02}", "referee", field, renewed)
    await _on_duty(manager, "head-1", "head_referee", None, renewed)
    for name in ("aid-1", "aid-2"):
        await _on_duty(manager, name, "first_aider", None, renewed)
    for field in FIELDS:
        await head.do(InspectField(field=field, passed=True), actor="head-1")


async def check(head: Station, when: Literal["opening", "closing"], torn: str = "") -> None:
    """Every check of that end of the day. On the field `torn` the netting is mended first, and looked at again."""
    if torn:
        await head.do(DoCheck(check="netting", when=when, field=torn, faults=("damaged",)), actor="head-1")
    for one in RULES.duty.checks:
        if one.when in {"both", when}:
            for field in FIELDS if one.each_field else (None,):
                await head.do(DoCheck(check=one.code, when=when, field=field), actor="head-1")


async def _on_duty(manager: Station, staff: str, post: str, field: str | None, until: date) -> None:
    await manager.do(RegisterStaff(staff=staff, qualifications=(Qualification(post=post, until=until),)))  # type: ignore[arg-type]
    await manager.do(StartDuty(staff=staff, post=post, field=field))  # type: ignore[arg-type]


async def _fleet(manager: Station, day: date, bench: Bench) -> None:
    """Every hired marker is measured before opening and its adjuster sealed; its bottle and the masks are entered."""
    for calibre, model in ((".68", "Heron"), (".50", "Wren")):
        for index, marker in enumerate(hired_markers(calibre)):
            await manager.do(RegisterMarker(marker=marker, model=model, calibre=calibre))  # type: ignore[arg-type]
            bench.markers.set_up(marker)
            await bench.measure(marker, BENCHES[index % 2], typed=True)
    for number in range(1, HIRED + LOW_IMPACT + 1):
        await manager.do(RegisterMask(mask=f"K{number:03}", model="Visor"))
    await manager.do(RegisterBottle(bottle="B001", test_due=day + timedelta(days=400)))
