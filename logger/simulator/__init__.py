"""An invented tank with exact truth: physics, camera, painter, gates. Shares no code with what measures."""
