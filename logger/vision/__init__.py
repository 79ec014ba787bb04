"""Picture -> position.

Three ways in: `tracker.track_boat` measures a stored recording, `live.tracker.LiveTracker` follows a running camera to
a few millimetres, `stills.find_object` finds one thing in any pictures of a still scene. The measurement of a boat
without a tag reads downward: survey (a few pictures: background, sightings, silhouette) -> learning (hull, shadow,
rays, equations: the boat's look and the freeboard from the whole run at once) -> pursuit (fit: that look laid over
every picture, or over the part that shows) -> doubts -> track. That of a boat with a tag: `tagged`, with `tag`. Beside
them `watch` sees whether the camera stood still, and `touch` whether something touched the boat.
"""
