"""Sends committed readings on to a time-series server, past a cursor: what is written there stands in
store/time_series/lines.py.

    readings.db -> forwarder   next batches, as lines; their commit once the server has acknowledged all of them
                     link      one server: requests, and what its answers mean
                     portion   one portion to the server, whatever it refuses
                     state     forward.db: the cursors, and the lines that it refused
                     telling   heartbeat and facts
                     corrected corrected values, sent again when a correction changes
                     waiting   what was acknowledged, until it is safe
                     read_back asks the server whether it still has what it has acknowledged
                     still_there  whether it still has what was safe on it, hours or days later
"""
