"""The sections of a plan, one module each: every one adds its findings, steps and picks to the draft and gives its rows."""
