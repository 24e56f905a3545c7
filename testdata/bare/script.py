"""A bare script: polls the bench, computes, publishes. Nothing is checked, recorded, alarmed or shown."""
import json, math, os, select, socket, struct, sys, termios, time

bus_name, tc_name, broker = sys.argv[1:4]


def line(name, baud):
    fd = os.open(name, os.O_RDWR | os.O_NOCTTY)
    mode = termios.tcgetattr(fd)
    mode[0] = mode[1] = mode[3] = 0
    mode[4] = mode[5] = baud
    mode[6][termios.VMIN], mode[6][termios.VTIME] = 0, 0
    termios.tcsetattr(fd, termios.TCSANOW, mode)
    return fd


def crc(b):
    sum = 0xFFFF
    for x in b:
        sum ^= x
        for _ in range(8):
            sum = sum >> 1 ^ (0xA001 if sum & 1 else 0)
    return struct.pack("<H", sum)


def ask(fd, request, whole):
    os.write(fd, request)
    got = b""
    while not whole(got):
        if not select.select([fd], [], [], 2)[0]:
            raise OSError("no answer")
        got += os.read(fd, 256)
    return got


def registers(fd, address, function, register, count):
    request = struct.pack(">BBHH", address, function, register, count)
    n = 5 + 2 * count
    got = ask(fd, request + crc(request), lambda b: len(b) >= n)
    if crc(got[:-2]) != got[-2:]:
        raise OSError("checksum")
    return got[3:-2]


def packet(kind, body):
    n, size = len(body), b""
    while True:
        n, x = n >> 7, n & 127
        size += bytes([x | (128 if n else 0)])
        if not n:
            return bytes([kind]) + size + body


def text(s):
    b = s.encode()
    return struct.pack(">H", len(b)) + b


bus, tc = line(bus_name, termios.B19200), line(tc_name, termios.B19200)
host, port = broker.rsplit(":", 1)
peer = socket.create_connection((host, int(port)))
peer.sendall(packet(0x10, text("MQTT") + b"\x04\x02\x00\x00" + text("bare-script")))
peer.recv(4)
D, L, area = 0.013, 0.9, math.pi * 0.013**2 / 4
due, n = time.monotonic(), 0
while True:
    q = struct.unpack(">f", registers(bus, 1, 4, 0, 2))[0] / 60000
    time.sleep(0.002)
    level = (struct.unpack(">H", registers(bus, 2, 3, 16, 1))[0] - 4000) / 16000 * 0.4
    t = float(ask(tc, b"T?\r", lambda b: b.endswith(b"\r\n"))[2:])
    rho = 999.97 * (1 - (t + 288.9414) / 508929.2 / (t + 68.12963) * (t - 3.9863) ** 2)
    mu = 2.414e-5 * 10 ** (247.8 / (t + 133.15))
    v = q / area
    re = rho * v * D / mu
    f = 64 / re if re < 2000 else 0.3164 / re**0.25 if re > 4000 else None
    head = level + 1.1
    loss = 2 * 9.80665 * head / v**2 - f * L / D if f and v else None
    n += 1
    if n % 5 == 0:
        body = json.dumps({
            "site": "north-hall", "rig": "bench-3", "time": time.time(), "flow_cubic_meters_per_second": q,
            "temperature_celsius": t, "level_meters": level, "density_kg_per_cubic_meter": rho,
            "dynamic_viscosity_pascal_seconds": mu, "kinematic_viscosity_square_meters_per_second": mu / rho,
            "velocity_meters_per_second": v, "reynolds_number": re, "friction_factor": f, "head_meters": head,
            "loss_coefficient": loss, "regime": "laminar" if re < 2000 else "turbulent" if re > 4000 else "transitional",
        })
        peer.sendall(packet(0x30, text("bare/script/state") + body.encode()))
    due += 0.2
    time.sleep(max(0, due - time.monotonic()))
