"""The steps of the proving, by what they prove; `stages.prove` runs them."""
