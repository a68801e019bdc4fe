"""Drills: a scenario, what it lets happen, the trainer's channel, and the score as facts."""
