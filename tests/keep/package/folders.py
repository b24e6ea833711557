"""What a folder holds, and how an export of it is stopped."""


def files(folder):
    """The bytes of every file, by its path within the folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


class Stopped(BaseException):
    """As a key on the keyboard stops an export."""
