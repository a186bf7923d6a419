"""The energy account of a house: what a march through time has made or lost."""

import numpy as np


def heat_imbalance(step, result, surroundings, masses, air_capacity, temp_start, temp_mass_start):
    """Energy that a march has made or lost, as a share of all that moved in it: zero to rounding. [-]

    In: sun and heater. Out: through the surroundings and into the ground. Stored: in the air and the masses.
    """
    leaving = surroundings.conductance * result.temp_air - surroundings.drive + result.to_far
    entering = surroundings.sun_air + surroundings.sun_mass.sum(axis=1) + result.heater
    stored_air = np.asarray(air_capacity) * (result.temp_air[-1] - np.asarray(temp_start, dtype=float))
    stored = (masses.capacity * (result.temp_mass[-1] - np.asarray(temp_mass_start, dtype=float))).sum(axis=0)
    moved = np.abs(leaving).sum(axis=0) + np.abs(entering).sum(axis=0) + np.abs(result.to_masses).sum(axis=(0, 1))
    error = step * (entering - leaving).sum(axis=0) - stored_air - stored
    return error / np.maximum(step * moved, np.finfo(float).tiny)
