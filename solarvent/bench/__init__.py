"""With the meter in the hand: expected readings, diagnosis, checklist and shopping list."""
