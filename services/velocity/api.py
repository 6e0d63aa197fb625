"""The chronograph bench's commands and the subjects that each rests on."""

from contracts.velocity import (
    AdjustChrono,
    ChangeSetUp,
    CheckChrono,
    EndString,
    OpenString,
    RegisterChrono,
    SpotCheckMarker,
    TestMarker,
    VoidSpotCheck,
)
from services.core.command import Handler
from services.core.following import bells
from services.core.service import Service
from services.velocity import fleet_reads, model, routes, shooting, spot_checks
from services.velocity.markers import marker_at_bench
from services.velocity.shooting import SHOOTING
from services.velocity.states import BENCH, CHRONO, LIMITS

SERVICE = Service(
    "velocity",
    (
        Handler(RegisterChrono, lambda c, _: {(CHRONO, c.chrono)}, model.register_chrono),
        Handler(CheckChrono, lambda c, _: {(CHRONO, c.chrono)}, model.check_chrono),
        Handler(AdjustChrono, lambda c, _: {(CHRONO, c.chrono)}, model.adjust_chrono),
        Handler(TestMarker, lambda c, _: {(BENCH, c.marker), (CHRONO, c.chrono)}, model.record_test),
        Handler(
            OpenString,
            lambda c, _: {(BENCH, c.marker), (CHRONO, c.chrono), (SHOOTING, c.chrono)},
            shooting.open_string,
        ),
        routes.TAKE,
        Handler(EndString, lambda c, _: {(CHRONO, c.chrono), (SHOOTING, c.chrono)}, shooting.end_string),
        Handler(ChangeSetUp, lambda c, _: {(BENCH, c.marker)}, model.change_set_up),
        Handler(SpotCheckMarker, lambda c, _: {(BENCH, c.marker), (LIMITS, c.field)}, spot_checks.spot_check),
        Handler(VoidSpotCheck, lambda c, _: {(spot_checks.SPOT_CHECKS, c.marker)}, spot_checks.void_spot_check),
    ),
    (*routes.ROUTES, *fleet_reads.ROUTES, marker_at_bench),
    (bells,),
)
