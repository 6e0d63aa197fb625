"""Logs: one line a thing that happened, JSON unless a person watches. Tracebacks show no variables, for a key may be among them."""

import sys

import structlog


def configure() -> None:
    """Set up structlog for this process. Lines go to standard error: standard output belongs to the command."""
    person = sys.stderr.isatty()
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            *([] if person else [structlog.processors.format_exc_info]),
            structlog.dev.ConsoleRenderer(exception_formatter=structlog.dev.plain_traceback)
            if person
            else structlog.processors.JSONRenderer(),
        ],
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=True,
    )
