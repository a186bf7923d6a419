"""What a person should know of a plan, one module a subject, each code raised in one place."""
