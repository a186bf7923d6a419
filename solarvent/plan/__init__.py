"""What a person writes: plan, boxes, parts library, interview and comment-keeping edits, read and checked."""
