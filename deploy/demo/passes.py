"""The desk's printer: every group's day passes on paper, as the park signs them."""

from collections.abc import Sequence

import httpx

from deploy.demo.station import DemoError


class Printer:
    """Asks for each group's sheet with the desk's key; what comes off is kept nowhere."""

    def __init__(self, http: httpx.AsyncClient, park: str, key: str) -> None:
        self._http = http
        self._park = park
        self._headers = {"Authorization": f"Bearer {key}"}

    async def print(self, players: Sequence[str]) -> None:
        """One card for each; raises DemoError unless all of them came out."""
        path = f"/parks/{self._park}/registration/pass-sheet"
        sheet = await self._http.get(path, params={"players": ",".join(players)}, headers=self._headers)
        if sheet.status_code != httpx.codes.OK or sheet.text.count('<article class="pass">') != len(players):
            raise DemoError(f"the passes of {', '.join(players)} were not printed: {sheet.text[:300]}")
