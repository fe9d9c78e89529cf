"""Who may come in, as what, and what was done at the door. Nothing here knows pages of panels."""
