"""What all tests share: skips are counted, and fail the run where QUALIFY_NO_SKIPS is set."""

import os

LONGEST = (
    "dossier/test_dossier.py", "journeys/test_reproducible.py", "recovery/test_bound_holds.py",
    "journeys/test_three_ways_in.py", "journeys/test_commands.py", "benchmarks/test_bench.py",
)  # fmt: skip


def pytest_collection_modifyitems(items):
    """Begin with the files that take longest, so that no worker waits for another at the end."""

    def place(item):
        path = item.path.as_posix()
        return next((k for k, name in enumerate(LONGEST) if path.endswith(name)), len(LONGEST))

    items.sort(key=place)


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
