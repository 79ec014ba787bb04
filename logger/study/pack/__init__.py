"""Pages to study a class from: by the rig's server, or as files on a stick that need nothing else."""
