"""The ground floor: units, errors and the glossary of result columns. Imports nothing of the package."""
