"""One panel's record: everything it rests on, what that amounts to, and both on paper."""
