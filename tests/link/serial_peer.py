"""A device on a serial line, made of Python's own termios: answers each line with the same line turned round."""
import os
import sys
import termios
import tty

port = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)
tty.setraw(port)
attributes = termios.tcgetattr(port)
attributes[4] = attributes[5] = termios.B115200
termios.tcsetattr(port, termios.TCSANOW, attributes)
print("ready", flush=True)
held = b""
while True:
    part = os.read(port, 4096)
    if not part:
        break
    held += part
    *lines, held = held.split(b"\n")
    for line in lines:
        os.write(port, line[::-1] + b"\n")
