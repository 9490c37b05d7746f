"""Files of cases, written once a session; and how far recovered and reported numbers lay apart at most."""

import json

import pytest


@pytest.fixture(scope="session")
def folder_of(tmp_path_factory):
    """Return a function from a kind of case and its name to a folder with its files."""
    import exported

    known = {"case": exported.case, "moved point": exported.moved_point_case}
    folders = {}

    def folder(name, kind="case"):
        if (kind, name) not in folders:
            folders[kind, name] = tmp_path_factory.mktemp("blind")
            exported.write_case(folders[kind, name], *known[kind](name))
        return folders[kind, name]

    return folder


def pytest_terminal_summary(terminalreporter):
    """Print the greatest difference of every kind over all cases."""
    worst, cases = {}, 0
    for report in [
        r for rows in terminalreporter.stats.values() for r in rows if hasattr(r, "user_properties")
    ]:
        for key, value in report.user_properties:
            if key != "blind" or report.when != "call":
                continue
            cases += 1
            for kind, (off, count, where) in json.loads(value).items():
                most, where_most, counted = worst.get(kind, (-1.0, "", 0))
                worst[kind] = (*max((most, where_most), (off, where)), counted + count)
    if worst:
        terminalreporter.section(f"blind: recovered against reported, {cases} cases (mm or degrees)")
        for kind, (off, where, count) in sorted(worst.items()):
            terminalreporter.line(f"{kind:42s} {off:10.2e} of {count:6d}   {where}")
        terminalreporter.line(f"comparisons in all: {sum(count for *_, count in worst.values())}")
