"""The dossier: from a study's result to the files a client gets, as bytes."""

from reportlab.platypus import Flowable, PageBreak

from qualify.dossier.chapters_blocks import block_chapters
from qualify.dossier.chapters_close import closing_chapters
from qualify.dossier.chapters_detection import detection_chapter
from qualify.dossier.chapters_model import simulated_signals
from qualify.dossier.chapters_raw import raw_chapter
from qualify.dossier.chapters_results import result_chapters
from qualify.dossier.chapters_scope import scope_chapters
from qualify.dossier.face import face
from qualify.dossier.figures import drawings
from qualify.dossier.layout import Footer, Heading, PageTotal, build_pages, contents
from qualify.dossier.manifest import manifest_bytes
from qualify.dossier.pictures import Pictures, pictures_of
from qualify.dossier.place import finished
from qualify.dossier.results import results_bytes
from qualify.dossier.rule_figures import rule_drawings
from qualify.dossier.style import register_fonts
from qualify.files import canonical_json, digest
from qualify.reading.tables import to_csv, trials
from qualify.study.result import StudyResult


def build_dossier(result: StudyResult) -> dict[str, bytes]:
    """Return the files of the dossier by relative name.

    Nothing is read or written and no clock is looked at: the same result gives the same bytes
    in one environment.
    """
    register_fonts()
    pictures = pictures_of([*drawings(result), *rule_drawings(result)], files=not result.quick)
    results = results_bytes(result)
    tables = result.all_tables
    files = {
        "dossier.pdf": _pdf(result, pictures, digest(results)),
        "results.json": results,
        "opportunities.csv": to_csv(tables.opportunities),
        "calls.csv": to_csv(tables.calls),
        "measurements.csv": to_csv(tables.measurements),
        "trials.csv": to_csv(trials(tables)),
        "figures/alt_texts.json": canonical_json(pictures.alt_texts),
    }
    if result.inputs.log is not None:
        files["events.jsonl"] = result.inputs.log.log.content
    files |= {f"figures/{name}.svg": content for name, content in pictures.svg.items()}
    files |= {f"figures/{name}.png": content for name, content in pictures.png.items()}
    files["manifest.json"] = manifest_bytes(result, files)
    return files


def _pdf(result: StudyResult, pictures: Pictures, results_sha256: str) -> bytes:
    declaration = result.inputs.declaration
    footer = Footer(result.inputs.plan.study, declaration.revision, results_sha256, result.mark)
    title = f"{declaration.title}: qualification dossier"
    pages, _ = build_pages(_story(result, pictures), title, footer, PageTotal())
    return finished(pages, pictures.places, pictures.pdf, list(pictures.sizes_pt), title)


def _story(result: StudyResult, pictures: Pictures) -> list[Flowable]:
    return [
        *face(result, pictures),
        Heading("Contents", 0),
        contents(),
        PageBreak(),
        *scope_chapters(result),
        *block_chapters(result, pictures),
        *simulated_signals(result),
        *raw_chapter(result),
        *detection_chapter(result, pictures),
        *result_chapters(result, pictures),
        *closing_chapters(result),
    ]
