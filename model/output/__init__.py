"""What leaves Plumbdrop: the report as text, STEP.  Nothing here computes geometry."""
