"""What several audit tests read out of a report."""


def rows_of(table):
    """The counts of a table by their code."""
    return {row.code: row for row in table.rows}
