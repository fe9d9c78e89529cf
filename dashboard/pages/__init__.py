"""The pages: each module has one function that makes its router."""
