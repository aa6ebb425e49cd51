"""How much error of the second side a job can bear, from what was cut, without cutting it again."""
