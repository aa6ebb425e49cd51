"""Programs: G-code text to words, words to modal state, modal state to moves."""
