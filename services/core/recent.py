"""What has just been recorded is read by many at once: commands by each of its tags, and the projections. It is decoded once."""

from functools import lru_cache

from contracts.leaf import decode

recent = lru_cache(maxsize=4096)(decode)
"""As `decode`, for leaves that somebody else in this process is likely to read too. Events are immutable, so they can be shared."""
