"""What insurers and lawyers ask for after an incident, as far as the record holds it. What it does not hold is said to be not recorded."""

from collections import Counter
from collections.abc import Iterator, Sequence

from contracts.envelope import Recorded
from contracts.first_aid import EMERGENCY
from contracts.incidents import IncidentRecorded
from contracts.park import FlashSeen, ThunderHeard, WeatherRecorded
from services.audit.cases.dossier import Case
from services.audit.cases.report.asking import Asking
from services.audit.cases.report.content import Item, Section, Table
from services.audit.cases.report.first_aid import FirstAid
from services.audit.cases.report.gear import gear
from services.audit.cases.report.ground import ground
from services.audit.cases.report.hurt import person
from services.audit.cases.report.moments import NOT_RECORDED, counted, listed, local, plainly, titled
from services.audit.words.weather import thunder, weather


def sections(case: Case, incident: Recorded[IncidentRecorded], zone: str) -> tuple[Section, ...]:
    """An incident's own part of the report: what is known of the people, the gear and the field, and a checklist."""
    name = titled("incident", incident.data.incident)
    if incident.id in case.withdrawn:
        items = [FirstAid(case, incident.data.incident, zone).withdrawn()]
        return (_section(f"{name}: withdrawn as it was recorded at position {incident.position}", items),)
    asking = Asking(case, incident, zone)
    groups = [(f"{name}: what happened", list(_happened(asking)))]
    for player in asking.hurt():
        groups.append((f"{name}: player {player}", list(person(asking, player))))
        groups.append((f"{name}: the gear of player {player}", list(gear(asking, player))))
    groups.append((f"{name}: field, staff and game", list(ground(asking))))
    groups.append((f"{name}: evidence", list(_evidence(asking))))
    return (*(_section(heading, items) for heading, items in groups), _checklist(name, groups))


def _section(heading: str, items: Sequence[Item]) -> Section:
    rows = tuple((item.what, item.found, listed([str(one) for one in item.positions])) for item in items)
    return Section(
        heading=heading, table=Table(columns=("Asked for", "On record", "Position"), rows=rows, widths=(4, 9, 2))
    )


def _checklist(name: str, groups: Sequence[tuple[str, Sequence[Item]]]) -> Section:
    rows = tuple(
        ("[x]" if item.positions else "[  ]", heading.partition(": ")[2], item.what)
        for heading, items in groups
        for item in items
    )
    return Section(
        heading=f"{name}: checklist",
        text=(
            "[x] is in this file. [  ] is not recorded: look for it on paper, and with whoever keeps it, while people still remember.",
            f"{EMERGENCY} Impound mask and marker uncleaned. Tell the insurer and the authorities within the times that local law and the policy set; which those are is not for this record to say.",
        ),
        table=Table(columns=("", "Of", "Asked for"), rows=rows, widths=(1, 5, 8)),
        own_page=True,
    )


def _happened(asking: Asking) -> Iterator[Item]:
    incident, data = asking.incident, asking.incident.data
    here = (incident.position,)
    late = incident.recorded_at - incident.occurred_at
    yield Item("Kind", plainly(data.kind), here)
    yield Item("When it happened, by the record", asking.at(incident), here)
    yield Item(
        "When it was recorded",
        f"{local(incident.recorded_at, asking.zone)}, {int(late.total_seconds())} s after",
        here,
    )
    yield Item("Who recorded it", f"{incident.actor or 'nobody named'}, on {incident.device}", here)
    yield Item(
        "Where",
        listed([f"{kind} {name}" for kind, name in (("field", data.field), ("game", data.game)) if name])
        or NOT_RECORDED,
        here,
    )
    yield Item("Emergency services", "called" if data.emergency_services else "recorded as not called", here)
    yield asking.first_aid.help()
    yield from asking.first_aid.scene()
    yield asking.first_aid.witnesses()
    yield asking.item(
        "Weather at staging",
        asking.before(WeatherRecorded)[-1:],
        lambda one: weather(one.data),
    )
    yield asking.item(
        "Last flash or thunder before it",
        asking.before(ThunderHeard, FlashSeen)[-1:],
        lambda one: "flash without thunder" if isinstance(one.data, FlashSeen) else thunder(one.data),
    )
    yield _similar(asking)
    yield asking.first_aid.notifications()
    if (withdrawn := asking.first_aid.withdrawn()).positions:
        yield withdrawn
    yield from asking.first_aid.closed()


def _similar(asking: Asking) -> Item:
    """Other incidents of that field and day, by kind."""
    others = [one for one in asking.standing(IncidentRecorded) if one.data.incident != asking.incident.data.incident]
    kinds = Counter(plainly(one.data.kind) for one in others)
    said = listed([counted(number, kind) for kind, number in sorted(kinds.items())])
    where = "on that field that day"
    found = f"{said} {where}" if said else f"none other is recorded {where}"
    return Item("Similar incidents", found, tuple(one.position for one in others) or (asking.incident.position,))


def _evidence(asking: Asking) -> Iterator[Item]:
    """Who has each piece, and how it came to him."""
    found = tuple(asking.first_aid.evidence())
    yield from found or (Item("Custody of mask and marker"),)
