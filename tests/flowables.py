"""What stands in the flowables of a page: their parts, tables and words."""

from reportlab.platypus import KeepTogether, Paragraph, Table


def parts(flowables):
    """Yield flowables, those kept together one by one."""
    for flowable in flowables:
        if isinstance(flowable, KeepTogether):
            yield from parts(flowable._content)
        else:
            yield flowable


def cells(flowables):
    """Return the rows of the first table, without its head."""
    table = next(f for f in parts(flowables) if isinstance(f, Table))
    return [[cell.getPlainText() for cell in row] for row in table._cellvalues[1:]]


def words(flowables):
    """Return the text of all paragraphs."""
    return " ".join(f.getPlainText() for f in parts(flowables) if isinstance(f, Paragraph))
