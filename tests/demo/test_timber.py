"""The demonstration's boards dry by physics: no water is lost, and Fick's law holds."""

import numpy as np
import pytest

from demo import timber
from demo.timber import Boards, Stand, draw_boards


def boards(
    moisture: float,
    *,
    skin: float,
    diffusivity: float = 1e-10,
    half: float = 0.0125,
    count: int = 3,
) -> Boards:
    return Boards(
        np.full((count, timber.CELLS), moisture),
        np.full(count, half),
        np.full(count, 2000.0),
        np.full(count, 0.5),
        np.zeros(count),
        np.full(count, diffusivity),
        np.full(count, skin),
        30.0,
    )


def test_no_water_is_lost_through_a_closed_face():
    made = boards(20.0, skin=1e-20)
    made.moisture[:] = np.linspace(10.0, 30.0, timber.CELLS)
    before = made.mean_mc.copy()
    made.dry(np.full(3, 60.0), np.full(3, 5.0), 30 * 86400.0)
    assert made.mean_mc == pytest.approx(before, abs=1e-6)
    assert np.ptp(made.moisture, axis=1) == pytest.approx(0.0, abs=0.05), "it evens out within"


# Crank, The Mathematics of Diffusion, 2nd ed., 1975, eq. 4.18: plane sheet, surfaces held at one
# concentration from the start. From memory; summed here.
def crank(fourier: float) -> float:
    n = np.arange(200)
    return float(
        np.sum(
            8.0
            / ((2 * n + 1) ** 2 * np.pi**2)
            * np.exp(-((2 * n + 1) ** 2) * np.pi**2 * fourier / 4.0)
        )
    )


@pytest.mark.parametrize("fourier", [0.1, 0.2, 0.4, 0.8])
def test_drying_follows_fick_without_surface_resistance(fourier, monkeypatch):
    monkeypatch.setattr(timber, "BOUND_WATER_SLOPE", 0.0)
    made = boards(25.0, skin=1e-3)
    seconds = fourier * 0.0125**2 / 1e-10
    for _ in range(400):
        made.dry(np.full(3, timber.REFERENCE_C), np.full(3, 5.0), seconds / 400)
    left = (made.mean_mc[0] - 5.0) / 20.0
    # six layers stand for a continuum
    assert left == pytest.approx(crank(fourier), abs=0.015)


def test_a_board_dries_to_the_emc_and_no_further():
    made = boards(60.0, skin=1e-7)
    for _ in range(200):
        made.dry(np.full(3, 60.0), np.full(3, 8.0), 86400.0)
        assert (made.moisture >= 8.0 - 1e-9).all()
    assert made.mean_mc == pytest.approx(8.0, abs=0.01)


def test_warm_thin_and_fast_air_dry_sooner():
    def left(**change: float) -> float:
        temp, still = change.pop("temp", 45.0), change.pop("still", 1.0)
        made = boards(60.0, skin=5e-8, **change)
        for _ in range(60):
            made.dry(np.full(3, temp), np.full(3, 12.0), 4 * 3600.0, still)
        return float(made.mean_mc[0])

    usual = left()
    assert left(temp=60.0) < usual < left(half=0.025)
    assert usual < left(still=timber.STILL_AIR_SHARE)


def test_sampled_boards_have_the_stands_mean_and_spread():
    stand = Stand("quercus-rubra", 560.0, 30.0, 25.4, 78.0, 5.0, air_dried=False)
    made = draw_boards(stand, 4000, np.random.default_rng(1))
    assert made.mean_mc.mean() == pytest.approx(78.0, abs=0.5)
    assert made.mean_mc.std() == pytest.approx(5.0, rel=0.1)


def test_air_dried_boards_are_wetter_inside():
    stand = Stand("quercus-rubra", 560.0, 30.0, 50.8, 20.0, 1.0, air_dried=True)
    shell, core = draw_boards(stand, 50, np.random.default_rng(1)).shell_and_core()
    assert (core > shell).all()
