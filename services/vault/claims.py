"""The claims period: until when claims may come, by the park's own rules. It states no law."""

from collections.abc import Iterable
from datetime import date

from contracts.rules import VaultRules
from contracts.words import AgeBand
from services.vault.states import Life


def claims_until(life: Life, rules: VaultRules) -> date | None:
    """The last day on which claims may come about a person; None where none are waited for.

    The years run from his last visit, or from the latest day on which he can come of age, whichever is later.
    """
    if life.last_visit is None or not rules.claims_years:
        return None
    of_age = latest_majority(life.ages, rules.majority_years)
    return years_after(max(life.last_visit, of_age or life.last_visit), rules.claims_years)


def latest_majority(ages: Iterable[tuple[date, AgeBand]], majority_years: int) -> date | None:
    """The latest day on which a person can come of age, for all that is known: at each record he had reached that age, perhaps that very day."""
    return min((years_after(day, max(0, majority_years - band)) for day, band in ages), default=None)


def years_after(day: date, years: int) -> date:
    """The same day some years later; for 29 February the first of March where there is none."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)
