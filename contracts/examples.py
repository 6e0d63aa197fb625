"""One body for each command, as a kiosk or handheld would send it on an invented Saturday at Larchmoor park."""

from typing import Any

from contracts import (
    devices,
    discipline,
    duty,
    equipment,
    games,
    incidents,
    park,
    reading,
    registration,
    vault,
    velocity,
)
from contracts.envelope import Command

EXAMPLES: dict[type[Command], dict[str, Any]] = {
    park.OpenDay: {"opened": "2026-05-09"},
    park.CloseDay: {"closed": "2026-05-09"},
    park.AdoptRules: {"rules": {"version": "larchmoor-2026", "time_zone": "Europe/London"}},
    park.RecordWeather: {
        "temperature_c": 27.0, "humidity_percent": 62,
        "wet_bulb_globe": {"natural_wet_bulb_c": 22.5, "globe_c": 41.0, "shade": False},
    },
    park.RecordThunder: {"flash_to_bang_s": 22},
    park.RecordFlash: {"occurred_at": "2026-05-09T13:12:00Z"},
    # fields and staff
    games.ConfigureField: {"field": "birch", "title": "Birch Wood", "limit_fps": 285, "stop_limit_fps": 300},
    games.InspectField: {"field": "birch", "passed": True},
    duty.RegisterStaff: {"staff": "staff-wren", "qualifications": [{"post": "referee", "until": "2027-03-31"}]},
    duty.StartDuty: {"staff": "staff-wren", "post": "referee", "field": "birch"},
    duty.EndDuty: {"staff": "staff-wren"},
    duty.DoCheck: {"check": "netting", "when": "opening", "field": "birch", "faults": ["damaged"]},
    # at the desk
    registration.RegisterPerson: {"person": "person-ash", "age_band": 12},
    registration.RenewAgeBand: {"person": "person-ash", "age_band": 14},
    registration.RegisterGroup: {"group": "group-kestrel", "size": 14, "private_session": True},
    registration.RegisterPlayer: {
        "player": "player-ash", "person": "person-ash", "group": "group-kestrel", "day_pass": "LM-0417", "armband": 17,
    },
    registration.ReissuePass: {"player": "player-ash", "day_pass": "LM-0532", "fault": "lost"},
    registration.RenewPassKey: {"cause": "routine"},
    registration.RecordPayment: {
        "payment": "till-3-0088", "players": ["player-ash", "player-elm"], "purpose": "entry", "means": "card",
        "amount_minor": 5800,
    },
    registration.VoidPayment: {"payment": "till-3-0088", "error": "recorded_twice"},
    registration.Refund: {
        "refund": "refund-12", "payment": "till-3-0088", "player": "player-ash", "amount_minor": 2900,
        "override": "goodwill",
    },
    registration.SignWaiver: {"person": "person-elm", "wording": "w1", "language": "en"},
    registration.GiveConsent: {
        "person": "person-ash", "guardian": "person-rowan", "relationship": "parent", "wording": "w1",
    },
    registration.WithdrawConsent: {"person": "person-ash", "guardian": "person-rowan"},
    registration.VoidWithdrawal: {"person": "person-ash", "guardian": "person-rowan", "error": "wrong_child"},
    registration.RecordGuardianLeft: {
        "players": ["player-ash"], "guardian": "person-rowan", "responsible": "person-elm",
    },
    registration.HoldBriefing: {
        "briefing": "briefing-0930", "version": 1, "language": "en", "players": ["player-ash", "player-elm"],
    },
    registration.AssignRotation: {
        "rotation": "rotation-green", "field": "birch", "players": ["player-ash", "player-elm"],
    },
    registration.RecordLeft: {"player": "player-elm"},
    registration.RecordReturn: {"player": "player-elm"},
    registration.HandOverMinor: {"player": "player-ash", "adult": "person-rowan"},
    registration.BanPerson: {"person": "person-sloe", "until": "2027-05-09"},
    registration.LiftBan: {"person": "person-sloe"},
    # at the gear counter
    equipment.RegisterMarker: {"marker": "marker-31", "model": "Heron 2", "calibre": ".68"},
    equipment.RegisterMask: {"mask": "mask-31", "model": "Otter"},
    equipment.RegisterBottle: {"bottle": "bottle-31", "gas": "air", "test_due": "2028-02-29"},
    equipment.RequalifyBottle: {"bottle": "bottle-31", "test_due": "2033-02-28"},
    equipment.IssueGear: {
        "player": "player-ash", "marker": "marker-31", "mask": "mask-31", "bottle": "bottle-31",
    },
    equipment.InspectGear: {"player": "player-elm", "mask": "mask-own-elm", "faults": ["lens_scratched"]},
    equipment.HandOverMarker: {"marker": "marker-31", "giver": "player-ash", "taker": "player-elm"},
    equipment.SwapMarker: {"player": "player-ash", "returned": "marker-31", "marker": "marker-32"},
    equipment.ReturnGear: {"player": "player-ash", "marker": "marker-32", "mask": "mask-31"},
    equipment.QuarantineGear: {"marker": "marker-31", "fault": "leak"},
    equipment.ReleaseGear: {"marker": "marker-31"},
    # at the chronograph bench
    velocity.RegisterChrono: {"chrono": "chrono-a"},
    velocity.CheckChrono: {
        "chrono": "chrono-a", "readings_fps": [281.2, 279.9, 283.0], "reference_fps": [280.6, 279.5, 281.8],
    },
    velocity.AdjustChrono: {"chrono": "chrono-a", "work": "battery"},
    velocity.OpenString: {"test": "test-0232", "marker": "marker-31", "chrono": "chrono-a", "temperature_c": 14.5},
    velocity.TakeReading: {"chrono": "chrono-a", "speed_fps": 281.4},
    velocity.EndString: {"chrono": "chrono-a"},
    velocity.TestMarker: {
        "test": "test-0231", "marker": "marker-31", "chrono": "chrono-a", "readings_fps": [271.4, 268.9, 273.0],
        "temperature_c": 14.5,
    },
    velocity.ChangeSetUp: {"marker": "marker-31", "change": "regulator"},
    velocity.SpotCheckMarker: {
        "check": "spot-07", "marker": "marker-31", "field": "birch", "game": "birch-3", "speed_fps": 276.2,
    },
    velocity.VoidSpotCheck: {"check": "spot-07", "marker": "marker-31"},
    # on the field
    games.CallGame: {
        "game": "birch-3", "field": "birch", "rotation": "rotation-green", "minutes": 15,
        "entrants": [{"player": "player-ash", "colour": "red"}, {"player": "player-elm", "colour": "blue"}],
        "proposal": {
            "proposal": "teams-6f1c22d09ab3e475", "position": 4711, "colours": ["red", "blue"],
            "entrants": [{"player": "player-ash", "colour": "blue"}, {"player": "player-elm", "colour": "red"}],
        },
    },
    games.PublishRotation: {
        "plan": "plan-1330", "position": 4702, "after": [{"field": "birch", "game": "birch-2"}],
        "proposed": [{
            "field": "birch", "start": "2026-05-09T13:40:00Z", "minutes": 15,
            "parties": [{"party": "group:group-kestrel", "players": 14}, {"party": "player:player-elm", "players": 1}],
        }],
        "games": [{
            "field": "birch", "start": "2026-05-09T13:40:00Z", "minutes": 15,
            "parties": [{"party": "group:group-kestrel", "players": 14}, {"party": "group:group-heron", "players": 13}],
        }],
    },
    games.BookSession: {
        "session": "session-kestrel", "field": "fern", "group": "group-kestrel",
        "start": "2026-05-09T14:00:00Z", "end": "2026-05-09T16:00:00Z",
    },
    games.CancelSession: {"of": "2026-05-09", "session": "session-kestrel"},
    games.BriefGame: {"game": "birch-3"},
    games.StartGame: {"game": "birch-3", "without": ["player-elm"]},
    games.AdmitPlayer: {"player": "player-elm", "field": "quarry", "game": "quarry-1", "colour": "blue"},
    games.RecordEntry: {
        "player": "player-elm", "field": "quarry", "game": "quarry-1", "answer": "cleared",
        "knew": {"epoch": 1, "position": 4711, "as_of": "2026-05-09T13:05:00Z"}, "occurred_at": "2026-05-09T13:12:00Z",
    },
    games.RecordOut: {"player": "player-ash", "field": "birch", "game": "birch-3", "cause": "eliminated"},
    games.VoidOut: {"player": "player-ash", "out": "017F22E2-79B0-7CC3-98C4-DC0C0C07398F"},
    games.CheckPaint: {
        "check": "paint-4", "player": "player-elm", "field": "birch", "game": "birch-3", "finding": "clean",
    },
    games.VoidPaintCheck: {"check": "paint-4", "player": "player-elm"},
    games.CallFirstAid: {"call": "aid-1", "field": "birch", "place": "on_field"},
    games.AnswerFirstAid: {"call": "aid-1"},
    games.AskHold: {"hold": "hold-2", "field": "birch", "cause": "injury"},
    games.ConfirmHold: {"hold": "hold-2", "field": "birch"},
    games.LiftHold: {"hold": "hold-2", "field": "birch", "swept": True},
    games.EndGame: {"game": "birch-3", "winner": "red"},
    games.AbandonGame: {"game": "fern-2", "cause": "weather"},
    games.CountHeads: {"game": "birch-3", "counted": 13, "accounted": ["player-ash"]},
    games.FindPlayer: {"player": "player-ash", "game": "birch-3", "place": "desk"},
    games.SweepField: {"game": "birch-3", "search_open": False},
    # discipline
    discipline.Caution: {
        "caution": "caution-5", "violation": "wiping", "field": "birch", "game": "birch-3", "colour": "red",
        "armband": 17,
    },
    discipline.ResolveCaution: {"caution": "caution-5", "player": "player-ash"},
    discipline.VoidCaution: {"caution": "caution-5", "player": "player-ash", "cause": "wrong_player"},
    discipline.RuleSeparateAct: {"caution": "caution-6", "player": "player-ash"},
    discipline.ConfirmEjection: {"player": "player-sloe", "caution": "caution-7"},
    discipline.ReinstatePlayer: {"player": "player-ash"},
    discipline.RaiseAppeal: {"appeal": "appeal-1", "caution": "caution-5", "player": "player-ash"},
    discipline.DecideAppeal: {"appeal": "appeal-1", "caution": "caution-5", "player": "player-ash", "upheld": True},
    # incidents
    incidents.RecordUnfit: {"player": "player-elm", "cause": "injured"},
    incidents.DeclareFit: {"player": "player-elm"},
    incidents.RecordIncident: {
        "incident": "incident-1", "kind": "injury", "field": "birch", "game": "birch-3", "players": ["player-elm"],
        "markers": ["marker-31"], "emergency_services": False,
    },
    incidents.RecordInjury: {
        "incident": "incident-1", "player": "player-elm", "part": "ankle", "side": "left", "injury": "sprain",
    },
    incidents.RecordTreatment: {
        "incident": "incident-1", "player": "player-elm", "treatment": "cooled", "staff": "staff-wren",
    },
    incidents.RecordOutcome: {"incident": "incident-1", "player": "player-elm", "outcome": "rested"},
    incidents.RecordScene: {
        "incident": "incident-1", "place": "bunker", "sky": "rain", "paint_batch": "B-2026-0417", "tests": ["test-31"],
    },
    incidents.RecordHelpCalled: {"incident": "incident-1", "service": "ambulance"},
    incidents.RecordHelpArrived: {"incident": "incident-1", "service": "ambulance"},
    incidents.NameWitness: {"incident": "incident-1", "staff": "staff-heron"},
    incidents.TakeCustody: {
        "incident": "incident-1", "marker": "marker-31", "staff": "staff-wren", "kept": "safe",
    },
    incidents.PassCustody: {
        "incident": "incident-1", "marker": "marker-31", "giver": "staff-wren", "outside": "laboratory",
    },
    incidents.RecordNotification: {"incident": "incident-1", "reminder": "gb-report"},
    incidents.WithdrawEntry: {
        "incident": "incident-1", "entry": "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", "slip": "wrong_person",
    },
    incidents.CloseIncident: {"incident": "incident-1", "incomplete": True},
    # in the vault
    vault.KeepDetail: {
        "person": "person-elm", "entry": "detail-1", "kind": "note", "text": "Slipped on wet boards by the second bunker.",
        "about": {"incident": "incident-1"},
    },
    vault.PlaceLegalHold: {"hold": "legal-1", "persons": ["person-elm"], "incident": "incident-1", "cause": "claim"},
    vault.LiftLegalHold: {"hold": "legal-1"},
    vault.ErasePerson: {"person": "person-elm"},
    # to whoever reads along
    reading.OpenWebhook: {"webhook": "office", "url": "https://office.larchmoor.example/hooks/park", "types": ["games.*"]},
    reading.CloseWebhook: {"webhook": "office"},
    reading.ReplayDeadLetter: {"webhook": "office", "first": 4711},
    # devices
    devices.InviteDevice: {"device": "gate-1", "roles": ["staging"], "station": "gate-north"},
    devices.RevokeDevice: {"device": "gate-1", "cause": "lost"},
    devices.AcceptLine: {"line": "line-3f0c2b9e5d1a4c7f8e6b0a9d2c4e1f73"},
    devices.DismissLine: {"line": "line-3f0c2b9e5d1a4c7f8e6b0a9d2c4e1f73", "cause": "recorded_by_hand"},
}  # fmt: skip
