"""Options and arguments that several commands share."""

from __future__ import annotations

from typing import Annotated

import typer

SceneFile = Annotated[str, typer.Argument(metavar="FILE", help="Scene file (TOML).")]
Changes = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help='Change one key for a what-if, like run.detail="fine". Repeatable.',
    ),
]
MovingBody = Annotated[
    str | None,
    typer.Option(
        "--body", metavar="NAME", help="The part asked about; needed where several can move."
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
ReplaceFlag = Annotated[bool, typer.Option("--force", help="Replace an existing file.")]
Accuracy = Annotated[
    bool,
    typer.Option("--accuracy", help="Solve on a second, coarser mesh and give error bars."),
]
Style = Annotated[str, typer.Option("--style", help="Page of a plot: light or dark.")]
