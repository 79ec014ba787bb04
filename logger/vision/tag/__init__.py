"""A boat that carries a print: the print found, read and followed, and the hull laid around it.

`look` and `fit`: how a print looks, and where it lies in one picture. `reader`, `cells`, `search`: finding it, and
telling its number. `foresight` and `pursuit`: from picture to picture. `hull`, `seat`, `gaps`: the hull around it, and
where it must be when it is hidden. `course` and `track`: from its poses to the boat's track. The whole recipe is
`logger/vision/tagged.py`.
"""
