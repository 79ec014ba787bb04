"""The pages that a browser sees: drawn here, on this computer, with nothing fetched from anywhere else."""
