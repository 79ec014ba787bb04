"""What the rig knows about itself: geometry, pictures, uncertainty. No devices, nothing of runs."""
