"""A picture laid over the part at a corner of the window, pixel for pixel."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from PIL import Image

Corner = Literal["top left", "top right", "bottom right", "middle"]


class Overlay:
    """One panel over the part: empty until a picture is put in it."""

    def __init__(self, renderer: Any, corner: Corner, margin: int) -> None:
        from vtkmodules.vtkRenderingCore import vtkActor2D, vtkImageMapper

        self._corner = corner
        self._margin = margin
        self._size = (0, 0)
        self._mapper = vtkImageMapper()
        # bytes as they are: 0 to 255 about the middle
        self._mapper.SetColorWindow(255.0)
        self._mapper.SetColorLevel(127.5)
        self._actor = vtkActor2D()
        self._actor.SetMapper(self._mapper)
        self._actor.VisibilityOff()
        renderer.AddViewProp(self._actor)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the picture, pixels."""
        return self._size

    def put(self, picture: Image.Image | None) -> None:
        """Show a picture, or nothing."""
        if picture is None:
            self._actor.VisibilityOff()
            return
        self._mapper.SetInputData(_image_data(picture))
        self._size = picture.size
        self._actor.VisibilityOn()

    def place(self, window: tuple[int, int]) -> None:
        """Move the picture to its corner of a window of this size, pixels."""
        self._actor.SetPosition(*position(self._corner, self._size, window, self._margin))


def position(corner: Corner, size: tuple[int, int], window: tuple[int, int], margin: int) -> tuple[int, int]:
    """Lower left corner of a picture in a window, pixels from the window's lower left."""
    right, top = window[0] - margin - size[0], window[1] - margin - size[1]
    places = {
        "top left": (margin, top),
        "top right": (right, top),
        "bottom right": (right, margin),
        "middle": ((window[0] - size[0]) // 2, (window[1] - size[1]) // 2),
    }
    return places[corner]


def _image_data(picture: Image.Image) -> Any:
    from vtkmodules.util import numpy_support
    from vtkmodules.vtkCommonDataModel import vtkImageData

    width, height = picture.size
    # VTK's rows run upward
    pixels = np.ascontiguousarray(np.asarray(picture.convert("RGB"))[::-1]).reshape(-1, 3)
    data = vtkImageData()
    data.SetDimensions(width, height, 1)
    numpy_to_vtk: Any = numpy_support.numpy_to_vtk
    data.GetPointData().SetScalars(numpy_to_vtk(pixels, deep=True))
    return data
