"""A numerical slump of grain into a square ring with one side open, independent of the closed form.

Slope-limited flow on a grid: grain moves down the steepest slope wherever it is steeper than the angle of repose, until
nowhere is. Conserves volume to rounding. Walls block the faces of the three panels that stay. By symmetry only one half
is computed. Everything is scaled: the panel is one wide, heights are in panel widths x tangent of the angle, so that one
number, the level difference, is the whole problem.
"""

import numpy as np
import numpy.typing as npt

Grid = npt.NDArray[np.float64]


def slump(difference: float, cells: int, free: float = 1.0, stop: float = 1e-3) -> tuple[float, float]:
    """Grain that has come in and grain that has left the outside, in panel widths cubed x tangent.

    Args:
        difference: level outside over level inside.
        cells: across the ring; even.
        free: share of the ring that is not body, spread evenly.
        stop: largest flow at which it counts as at rest.
    """
    size = 1.0 / cells
    outside = int(difference / size) + 3
    half = cells // 2
    inside = (slice(outside, outside + cells), slice(0, half))
    height = np.full((outside + cells + outside, half + outside), float(difference))
    height[inside] = 0.0
    open_x, open_y = np.ones((height.shape[0] - 1, height.shape[1])), np.ones((height.shape[0], height.shape[1] - 1))
    open_x[outside - 1, :half] = 0.0
    open_y[outside : outside + cells, half - 1] = 0.0
    room = np.ones_like(height)
    room[inside] = free
    step = 0.24 * size * min(1.0, free)
    for turn in range(200_000):
        flow_x, flow_y = _flows(height, open_x, open_y, size)
        change = np.zeros_like(height)
        change[:-1] += flow_x
        change[1:] -= flow_x
        change[:, :-1] += flow_y
        change[:, 1:] -= flow_y
        height += step * change / room
        if turn % 100 == 0 and max(np.abs(flow_x).max(), np.abs(flow_y).max()) < stop:
            break
    came = 2 * free * float(height[inside].sum()) * size**2
    lost = difference - height
    lost[inside] = 0.0
    return came, 2 * float(lost.sum()) * size**2


def _flows(height: Grid, open_x: Grid, open_y: Grid, size: float) -> tuple[Grid, Grid]:
    """Flow through every face: the part of the slope beyond repose (slope one in scaled heights)."""
    slope_x = np.diff(height, axis=0) / size * open_x
    slope_y = np.diff(height, axis=1) / size * open_y
    across_y, across_x = _at_cells(slope_y, open_y, 1), _at_cells(slope_x, open_x, 0)
    steep_x = np.hypot(slope_x, 0.5 * (across_y[:-1] + across_y[1:]))
    steep_y = np.hypot(slope_y, 0.5 * (across_x[:, :-1] + across_x[:, 1:]))
    return (
        np.maximum(0.0, 1 - 1 / np.maximum(steep_x, 1e-12)) * slope_x * open_x,
        np.maximum(0.0, 1 - 1 / np.maximum(steep_y, 1e-12)) * slope_y * open_y,
    )


def _at_cells(slope: Grid, is_open: Grid, axis: int) -> Grid:
    """Mean slope of the open faces of each cell; the plane of symmetry counts as a face without slope."""
    shape = list(slope.shape)
    shape[axis] += 1
    total, count = np.zeros(shape), np.zeros(shape)
    before, after = [slice(None), slice(None)], [slice(None), slice(None)]
    before[axis], after[axis] = slice(None, -1), slice(1, None)
    for side in (tuple(before), tuple(after)):
        total[side] += slope
        count[side] += is_open
    if axis == 1:
        count[:, 0] += 1
    return np.asarray(total / np.maximum(count, 1.0))
