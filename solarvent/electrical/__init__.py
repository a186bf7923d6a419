"""Volts and amperes: single diode, curves, motors, converters, batteries, operating points and states in time."""
