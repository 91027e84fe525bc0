"""What is on this cable, and is it right: where to ask, who is there, what to do next.

`places` says where to ask and who is at each place, `items` what of it is right, `judge` what that
means for one device, `verdict` for all. Nothing is sent from here.
"""
