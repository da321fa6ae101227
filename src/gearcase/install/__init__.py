"""How the kit goes on: mounts, and what they let a sensor see."""
