"""Diagonals over what is cut too deep in 3-D pictures: those of the maps, whichever way a face leans."""

from __future__ import annotations

from simkit.report import colours

PERIOD, LINE = 8, 2  # pixels, as canvas.hatch_too_deep has it
_PLACE = "//VTK::Color::Impl"  # where VTK's fragment shader knows the colour of the face and no light yet


def hatch_too_deep(actor, finer: int = 1) -> None:
    """Let an actor of pyvista, whose faces have colours of their own, draw its classes cut too deep hatched.

    finer: how many pixels drawn are one of the picture.  Lines made of faces would be bars on upright walls,
    and none on a face that is larger than their distance.
    """
    actor.GetShaderProperty().AddFragmentShaderReplacement(_PLACE, True, _code(finer), False)


def _code(finer: int) -> str:
    """Return the shader's words: upwards to the right, as on the maps, whose pixels count down."""
    is_line = f"mod(gl_FragCoord.x - gl_FragCoord.y, {PERIOD * finer}.0) < {LINE * finer}.0"
    lines = [
        _PLACE,
        f"if ({is_line}) {{",
        "  vec3 plain = diffuseColor / max(diffuseIntensity, 1e-6), line = plain;",
    ]
    for colour, stripe in zip(colours.CLASSES, colours.STRIPES, strict=False):
        lines.append(f"  if (distance(plain, {_vector(colour)}) < 0.004) line = {_vector(stripe)};")
    lines += ["  diffuseColor = diffuseIntensity * line;", "  ambientColor = ambientIntensity * line;", "}"]
    return "\n".join(lines) + "\n"


def _vector(colour: str) -> str:
    return "vec3({:.5f}, {:.5f}, {:.5f})".format(*(part / 255 for part in colours.rgb(colour)))
