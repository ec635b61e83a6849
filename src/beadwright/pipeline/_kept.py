"""Layers that are done, until the end of a plan: some in memory, the others in a file without a name."""

from __future__ import annotations

import pickle
import tempfile
import weakref
from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields
from pathlib import Path
from typing import IO, Any, Generic, TypeVar, overload

from beadwright.pipeline._output import told

T = TypeVar("T")
U = TypeVar("U")

# What one row of layers may take of memory, bytes, by their own estimate: some thousand layers of a usual part stay
# there, and a plan of any length takes two or three times this beside its program's text and the libraries.
KEPT = 128_000_000


class Aside:
    """A file for what has no room in memory.

    It has no name from the start, so that the system frees it when the process ends, however that ends. It is opened
    when something is put there first.

    Parameters
    ----------
    folder : Path or None
        On whose disk it lies; None: where the system has its temporary files.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = folder
        self._file: IO[bytes] | None = None

    def put(self, value: Any) -> int:
        """Set a value aside; the place under which it is found again.

        Raises
        ------
        OutputError
            The disk does not take it.
        """
        with told("cannot set finished layers aside on the disk"):
            if self._file is None:
                self._file = tempfile.TemporaryFile(dir=self._folder)  # noqa: SIM115 (lives as long as the layers)
                weakref.finalize(self, self._file.close)
            place = self._file.seek(0, 2)
            pickle.dump(value, self._file, pickle.HIGHEST_PROTOCOL)
        return place

    def get(self, place: int) -> Any:
        """The value at a place.

        Raises
        ------
        OutputError
            The disk does not give it.
        """
        assert self._file is not None
        with told("cannot read finished layers that were set aside on the disk"):
            self._file.seek(place)
            return pickle.load(self._file)


class View(Sequence[U]):
    """Values made from the rows of something else, each when it is asked for; it pickles as the tuple of them."""

    def __init__(self, count: Callable[[], int], at: Callable[[int], U]) -> None:
        self._count, self._at = count, at

    def __len__(self) -> int:
        return self._count()

    def __iter__(self) -> Iterator[U]:
        return map(self._at, range(len(self)))

    @overload
    def __getitem__(self, row: int) -> U: ...
    @overload
    def __getitem__(self, row: slice) -> tuple[U, ...]: ...
    def __getitem__(self, row: int | slice) -> U | tuple[U, ...]:
        if isinstance(row, slice):
            return tuple(map(self._at, range(*row.indices(len(self)))))
        return self._at(range(len(self))[row])

    def __reduce__(self) -> tuple[type[tuple[Any, ...]], tuple[tuple[U, ...]]]:
        return tuple, (tuple(self),)


class _Places(tuple[int, ...]):
    """Where the fields of a value lie in the file."""

    __slots__ = ()


class Kept(View[T], Generic[T]):
    """Dataclass values in the order in which they came, as many as there are.

    The first of them stay in memory, until their share of it is used up; the rest lie in a file, field by field, and
    are read back whenever they are asked for, equal but not identical. So whoever goes over them must not collect them.

    Parameters
    ----------
    aside : Aside
    size : callable
        About what a value takes of memory, bytes.
    part : int, optional
        Into how many equal parts `KEPT` is cut, one of which these values may take.
    """

    def __init__(self, aside: Aside, size: Callable[[T], int], *, part: int = 1) -> None:
        super().__init__(lambda: len(self._rows), self._whole)
        self._aside, self._size = aside, size
        self._left = KEPT // part
        self._rows: list[T | _Places] = []
        self._kind: type[T] | None = None
        self._names: tuple[str, ...] = ()

    def append(self, value: T) -> None:
        """Add a value.

        Raises
        ------
        OutputError
            The disk does not take it.
        """
        self._kind = type(value)
        self._left -= self._size(value)
        if self._left >= 0:
            self._rows.append(value)
            return
        self._names = self._names or tuple(field.name for field in fields(value))  # type: ignore[arg-type]
        self._rows.append(_Places(self._aside.put(getattr(value, name)) for name in self._names))

    def each(self, name: str) -> View[Any]:
        """One field of all values; of those in the file nothing else is read."""

        def at(row: int) -> Any:
            found = self._rows[row]
            if not isinstance(found, _Places):
                return getattr(found, name)
            return self._aside.get(found[self._names.index(name)])

        return View(self.__len__, at)

    def viewed(self, what: Callable[[T], U]) -> View[U]:
        """What a function makes of each value, when it is asked for."""
        return View(self.__len__, lambda row: what(self[row]))

    def _whole(self, row: int) -> T:
        found = self._rows[row]
        if not isinstance(found, _Places):
            return found
        assert self._kind is not None
        return self._kind(
            **{name: self._aside.get(place) for name, place in zip(self._names, found, strict=True)}
        )
