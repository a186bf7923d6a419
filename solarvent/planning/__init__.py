"""The chain from a plan to an answer: simulation, findings, pairing, checklist and metering."""
