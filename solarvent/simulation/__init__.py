"""The chain, once: plan and weather in, a simulated span out."""
