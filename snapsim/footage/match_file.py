"""The match file: how footage was taken, what each track follows, and what is to be fitted."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, ValidationError, model_validator

from snapsim.footage.pixels import FrameRate, PixelPoint, Pixels, PixelSize, Scale
from snapsim.scenario.explain import input_error
from snapsim.scenario.fields import (
    Direction,
    Flag,
    Name,
    Number,
    Position,
    Table,
    Time,
    not_negative,
    number_or_text,
    positive,
)
from snapsim.scenario.text_file import read_toml
from snapsim.study.distributions import Distribution
from snapsim.study.study_file import PlaceDescription

Wait = Annotated[Time, AfterValidator(not_negative)]
TIME_UNITS = ("s", "ms", "us")


class TimeDescription(Table):
    """[time]: from frames or a column to seconds; `release` is when, in the footage, it let go."""

    frame_rate: FrameRate | None = Field(None, description="frames a second of the footage")
    column: Name | None = Field(None, description="heading of the times or frame numbers")
    unit: Literal["s", "ms", "us", "frame"] | None = Field(
        None, description="of the column of times"
    )
    release: Time = Field(0.0, description="when, in the footage, it was let go")
    begin: Time | None = Field(None, description="earlier frames are left out")
    end: Time | None = Field(None, description="later frames are left out")


class ViewKeys(Table):
    """What all views share."""

    y: Literal["up", "down"] = Field("down", description="which way y counts in the picture")
    up: Direction = Field((0.0, 0.0, 1.0), description="world direction that is up in the picture")
    size: PixelSize = Field((1280.0, 720.0), description="width and height of the picture")
    line_time: Wait = Field(0.0, description="of a rolling shutter, from one row to the next")
    exposure: Wait = Field(0.0, description="how long the shutter is open")


class PlaneDescription(ViewKeys):
    """[view] of a camera far away and square to the motion."""

    kind: Literal["plane"] = "plane"
    right: Direction = Field(
        (1.0, 0.0, 0.0), description="world direction that is right in the picture"
    )
    scale: Scale | None = Field(None, description="pixels a length in the plane of motion")
    origin: PixelPoint | None = Field(None, description="place of the scene's origin")


class PinholeDescription(ViewKeys):
    """[view] of a camera that is near."""

    kind: Literal["pinhole"]
    position: Position = Field(description="of the camera")
    look_at: Position | None = Field(None, description="a point in the middle of the picture")
    direction: Direction | None = Field(None, description="in place of look_at: where it looks")
    focal_length: Annotated[Pixels, AfterValidator(positive)] = Field(description="in pixels")
    centre: PixelPoint | None = Field(None, description="principal point; default: the middle")

    @model_validator(mode="after")
    def _aimed_once(self) -> Self:
        if (self.look_at is None) == (self.direction is None):
            raise ValueError("needs look_at or direction, and not both")
        return self


ViewDescription = Annotated[PlaneDescription | PinholeDescription, Field(discriminator="kind")]


class TrackDescription(Table):
    """One [[track]]: `point` as the file calls it, and what it follows."""

    point: Name | None = Field(None, description="not needed where the file has one point")
    body: Name = Field(description="the body that the point is on")
    at: Position = Field((0.0, 0.0, 0.0), description="in the body's own frame")
    columns: tuple[Name, Name] | None = Field(None, description="headings of x and y")
    weight: Annotated[Number, Field(gt=0)] = Field(1.0, description="how much the track counts")


Value = Annotated[int | float | str, BeforeValidator(number_or_text)]


class Bounds(Table):
    """One entry of [fit]: where the value must lie."""

    between: tuple[Value, Value] = Field(description="least and most that is looked at")
    relative: Flag = Field(False, description="numbers multiply the scene's value")

    def spread(self) -> Distribution:
        """Return the same as an even spread; raises ValueError with a text for a person."""
        try:
            return Distribution(uniform=self.between, relative=self.relative)
        except ValidationError as error:
            first = error.errors()[0]
            said = str(first.get("ctx", {}).get("error", first["msg"]))
            raise ValueError(said.replace("uniform", "between")) from None


class FittingDescription(Table):
    """[fitting]: how it is done."""

    noise: Annotated[Pixels, AfterValidator(positive)] | None = Field(
        None, description="standard deviation of a tracked place; else found from the tracks"
    )
    starts: int = Field(
        16, ge=1, le=10_000, strict=True, description="places from which the search begins"
    )
    seed: int = Field(1, ge=0, strict=True, description="of these places")
    confidence: Annotated[Number, Field(gt=0, lt=1)] = Field(0.95, description="of the intervals")
    detail: Literal["draft", "normal", "fine"] = Field("draft", description="cells of the search")
    finish: Literal["draft", "normal", "fine"] | None = Field(
        None,
        description="cells of the last fit and of its intervals; else the scene's own, or finer"
        " ones where these are the search's own and blur more than the tracks do",
    )
    until: Time | None = Field(None, description="time after release up to which it is fitted")


class MakeDescription(Table):
    """[make]: synthetic footage."""

    noise: Pixels = Field(1.0, description="of synthetic places, standard deviation")
    dropped: Annotated[Number, Field(ge=0, lt=1)] = Field(
        0.0, description="share of frames without a place"
    )
    outliers: Annotated[Number, Field(ge=0, lt=1)] = Field(
        0.0, description="share of places that a tracker has wrong by some tens of pixels"
    )
    seed: int = Field(1, ge=0, strict=True, description="of the noise")
    until: Time | None = Field(None, description="where the synthetic footage ends")


class MatchFile(Table):
    """A match file as its author wrote it."""

    title: str = Field("", description="what was filmed")
    note: str = Field("", description="more about it")
    time: TimeDescription = Field(TimeDescription(), description="the clock of the footage")
    view: ViewDescription = Field(PlaneDescription(), description="how places become pixels")
    track: tuple[TrackDescription, ...] = Field((), description="what each tracked point follows")
    place: tuple[PlaceDescription, ...] = Field((), description="bodies set down before each run")
    fit: dict[str, Bounds] = Field({}, description="keys of the scene, time.release, view.scale")
    fitting: FittingDescription = Field(FittingDescription(), description="how the fit is done")
    make: MakeDescription = Field(MakeDescription(), description="synthetic footage")


def load_match(path: str) -> dict[str, Any]:
    """Read a match file as a document; raises InputError."""
    return read_toml(path, "a match file is TOML in UTF-8")


def match_from(document: dict[str, Any], file: str) -> MatchFile:
    """Return a document as a checked match file; raises InputError in one line."""
    whole = dict(document)
    view = whole.get("view")
    if isinstance(view, dict) and "kind" not in view:
        whole["view"] = {"kind": "plane", **view}
    try:
        return MatchFile.model_validate(whole)
    except ValidationError as error:
        raise input_error(error, whole, file, MatchFile) from None


def match_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a match file."""
    schema = MatchFile.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "snapsim match"
    return schema
