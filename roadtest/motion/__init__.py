"""From screened fixes to a joint posterior over the car's motion."""
