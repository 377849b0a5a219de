"""The texts that `lint3d start` writes: a plus sign in a name stands for a folder."""
