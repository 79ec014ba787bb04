// A page without drawings to move: only the choice of the age.
"use strict";
window.boatrun.begin();
