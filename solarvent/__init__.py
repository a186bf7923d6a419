"""Off-grid solar ventilation power-budget planner."""

__version__ = "0.1.0"
