"""The words of the sheet 'read me', and of the note that goes with a template folder."""

from collections.abc import Iterator, Sequence
from typing import Literal

from qualify.study.sheets import all_sheets

Style = Literal["title", "heading", "text", "required", "optional"]
LEGEND: tuple[Style, ...] = ("required", "optional")

CAUTIONS: Sequence[str] = (
    "The content that comes with a new study is invented. Replace every value. Then set "
    "'invented' to no. Data of a real trial and invented data never belong in one study.",
    "No limit comes with the tool. Every criterion in the example says 'example value, replace "
    "it' and is marked as not verified, so it is not judged. State your own limit, the document, "
    "clause and edition it comes from, and set 'verified' only once the clause was read there.",
    "A flaw size that must be found is the decision of a competent integrity engineer; it is "
    "never taken from this example.",
    "Drilled holes, slots and notches are reference reflectors, not damage.",
    "The tool organises evidence. It qualifies no procedure and certifies no person; that is the "
    "decision of the qualification body.",
    "Whoever reads must not see targets, sets or key before the calls are committed. Give "
    "readers a file of calls alone, and keep this one with the truth custodian.",
    "Write coded ids for persons and companies (R1, B-2, Company B), never names.",
)
CHECKED: Sequence[str] = (
    "Every sheet, key and column is known, and every required cell is filled.",
    "Every value is of its kind: numbers are numbers, days are days, choices are on the list.",
    "Modes, populations, blocks and blind codes that are named are also listed.",
    "Targets lie inside their block, in one grading unit each; each quantity states its "
    "uncertainty once; a drawing value needs a waiver.",
    "Calls do not contradict each other.",
    "Evidence gone wrong (a target in two sets, a software revision changed, one person in two "
    "roles) is no error: it is shown as a deviation with its remedy.",
)
FILLING: Sequence[str] = (
    "Fill in one sheet after the other. The explanation of a column stands in the comment on "
    "its header and appears when a cell is chosen; lists drop down where only some values may "
    "stand.",
    "Do not rename sheets, keys or columns. The order of columns does not matter; columns that "
    "are not required may be removed, and so may the sheets of lists that stay empty. Add rows "
    "as needed; an empty row is skipped.",
    "Days: a date as your spreadsheet program knows it, or text like 2026-03-31. Yes and no: "
    "yes or no. Numbers: one number in a cell, without its unit; the unit is in the column's name.",
    "In 'targets' fill in only the quantities of the target's kind. Of each quantity give the "
    "drawing value, the measured value with method and certificate, and one statement of "
    "uncertainty.",
    "In 'calls' every unit that was looked at has a row: an indication, nothing_found, or "
    "not_examined. A unit without a row counts as not examined.",
    "For notes of your own add a sheet whose name begins with 'read me'; it is not read.",
)


def read_me_lines() -> Iterator[tuple[Style, str]]:
    """Yield (style, line) of the sheet 'read me'."""
    yield "title", "A study in one workbook"
    yield "text", "From reference blocks and readers' calls to evidence on what a mode finds."
    yield from _section("Cautions", CAUTIONS)
    yield from _section("How to fill it in", FILLING)
    yield "heading", "Headers"
    yield "required", "required: must be filled in every row"
    yield "optional", "not required: may stay empty"
    yield from _section("Sheets", [f"{sheet.title}: {sheet.what}" for sheet in all_sheets()])
    yield from _section("What is checked", CHECKED)
    yield from _section(
        "Next",
        (
            "qualify check study.xlsx   (says what is wrong, with sheet and row; changes nothing)",
            "qualify dossier study.xlsx   (once the calls are in and truth may be opened)",
        ),
    )


def _section(title: str, lines: Sequence[str]) -> Iterator[tuple[Style, str]]:
    yield "text", ""
    yield "heading", title
    for line in lines:
        yield "text", line


def folder_note() -> str:
    """Return the note 'READ ME.txt' of a study folder."""
    import textwrap

    files = (
        "plan.toml: claim, modes, populations, matching, analysis, criteria",
        "study.toml: parties, roles, scope, equipment, software, events, transfer",
        "data.toml: where the files below lie",
        "blocks/: one file for each reference block",
        "sets.csv: which target belonged to which set, and when",
        "key.csv: which block lay behind which blind code",
        "call_sheets/: what the readers wrote, a row for each indication and each empty unit",
    )
    own = (
        "Fill in one file after the other. A line that begins with # is a comment; it explains "
        "the key below it. A key that stands behind # is not required.",
        *(line for line in FILLING[4:5]),
        "Tables are CSV: comma between fields, point in numbers, UTF-8. Days: 2026-03-31.",
    )
    sections = (
        ("Cautions", CAUTIONS),
        ("Files", files),
        ("How to fill them in", own),
        ("What is checked", CHECKED),
        ("Next", ("qualify check .   (in this folder; changes nothing)",)),
    )
    text = "A study in a folder\n"
    for title, lines in sections:
        text += f"\n{title}\n"
        for line in lines:
            text += textwrap.fill(line, 92, initial_indent="- ", subsequent_indent="  ") + "\n"
    return text
