"""Says what the readings mean: temperatures and times in, judgements with range and reason out. Pure arithmetic."""
