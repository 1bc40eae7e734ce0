"""What holds windows, processes or files open until it is closed, at the latest by the end of a
`with`."""

from __future__ import annotations

from abc import ABC, abstractmethod
from types import TracebackType
from typing import Self


class HeldOpen(ABC):
    """Closed where its `with` ends, however it ends."""

    @abstractmethod
    def close(self) -> None:
        """Give back what is held."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
