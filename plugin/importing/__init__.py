"""Taking in layouts that somebody brings: what their fields, words and figures mean, where they lie, what is doubtful.

Nothing is guessed in silence. What the file says counts, else what the user answers; where neither is there the plan
holds a question, and a file is only written once no question is open.
"""
