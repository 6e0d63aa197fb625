"""The invented day: a Saturday at Larchmoor, played through the HTTP API as kiosks, handhelds and the desk would."""
