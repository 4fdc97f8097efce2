"""When a session can't be written in its place: the reason, and a temporary copy elsewhere."""

from __future__ import annotations

import errno
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path

from bench.session.record.atomic import save_file
from bench.session.record.paths import FILE_NAME


def disk_remedy(error: OSError) -> str:
    """The message of the operating system, and what to do."""
    what = error.strerror or str(error)
    todo = {
        errno.ENOSPC: "make room on the disk",
        errno.EFBIG: "make room on the disk",
        getattr(errno, "EDQUOT", errno.ENOSPC): "make room on the disk",
        errno.EACCES: "make the folder writable or choose another workspace",
        errno.EPERM: "make the folder writable or choose another workspace",
        errno.EROFS: "make the folder writable or choose another workspace",
        errno.ENOENT: "put the folder back",
        errno.EEXIST: "move what is in its place away or choose another workspace",
        errno.ENOTDIR: "move what is in its place away or choose another workspace",
    }.get(error.errno or 0, "look after the disk")
    return f"{what[:1].lower()}{what[1:]}: {todo}"


def rescue(name: str, data: bytes, before: Path | None) -> Path | None:
    """Write the session elsewhere on this computer, over the previous copy if there is one.

    Args:
        name: name of the session's folder.
        data: the whole content of `session.toml`.
        before: path of the previous copy.

    Returns:
        Path of the copy; None where it cannot be written either.
    """
    if before is not None:
        with suppress(OSError):
            save_file(before, data)
            return before
    for place in _places():
        folder = None
        try:
            place.mkdir(parents=True, exist_ok=True)
            folder = Path(tempfile.mkdtemp(prefix=f"{name}-", dir=place))
            save_file(folder / FILE_NAME, data)
        except OSError:
            if folder is not None:
                shutil.rmtree(folder, ignore_errors=True)
        else:
            return folder / FILE_NAME
    return None


def delete_rescue(file: Path) -> None:
    """Remove the copy, because the session has been written in its place."""
    shutil.rmtree(file.parent, ignore_errors=True)


def _places() -> list[Path]:
    """Folders to try: the person's data folder, which outlives a restart, then the temporary folder."""
    import platformdirs

    return [platformdirs.user_data_path("tapebench", appauthor=False) / "rescued", Path(tempfile.gettempdir())]
