"""Long studies: commands whose figures the documentation quotes."""
