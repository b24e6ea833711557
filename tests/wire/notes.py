"""The tables of the notes on the wire protocol."""


def table(page, first_column):
    """The rows of the table whose head begins with this, as lists of cells."""
    lines = page.splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith(f"| {first_column} |"))
    rows = []
    for line in lines[at + 2 :]:
        if not line.startswith("|"):
            break
        rows.append([cell.strip() for cell in line.strip("|").split("|")])
    return rows
