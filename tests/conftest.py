"""What all tests share: skips are counted, and fail the run where QUALIFY_NO_SKIPS is set."""

import os


def pytest_terminal_summary(terminalreporter):
    skipped = len(terminalreporter.stats.get("skipped", []))
    if skipped:
        terminalreporter.write_line(
            f"{skipped} tests skipped: they need an outside program, see the reasons above"
        )


def pytest_sessionfinish(session, exitstatus):
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    skipped = reporter.stats.get("skipped", []) if reporter else []
    if skipped and os.environ.get("QUALIFY_NO_SKIPS"):
        session.exitstatus = 1
