#!/usr/bin/env python3
"""python3 verify.py NAME.jsonl: spelling, heads, seals, keys, cuts, every face, words
and the checkpoint's root, with nothing but python3. See verify.md for what is not checked."""
import base64, hashlib, hmac, json, os, sys

def sha(b): return hashlib.sha256(b).digest()
def of_hex(h): return sha(bytes.fromhex(h)).hex()
def need(ok, why):
    if not ok: raise ValueError(why)

def root(leaves):  # RFC 6962: the largest power of two below their number goes left
    if len(leaves) == 1: return leaves[0]
    k = 1 << ((len(leaves) - 1).bit_length() - 1)
    return sha(b"\1" + root(leaves[:k]) + root(leaves[k:]))

def fall(stream, at, all_sides):  # dice from byte `at` of a draw on: faces, and the byte after them
    key, name = stream
    faces, blocks = [], {}
    for sides in all_sides:
        wide, number = (1, 256) if sides <= 256 else (2, 65536)
        limit = number - number % sides
        while number >= limit:
            for j in {at // 32, (at + wide - 1) // 32} - set(blocks):
                blocks[j] = hmac.new(bytes.fromhex(key), f"{name}/{j}".encode(), "sha256").digest()
            number = int.from_bytes([blocks[i // 32][i % 32] for i in range(at, at + wide)], "big")
            at += wide
        faces.append(number % sides + 1)
    return faces, at

def check(lines, said):
    head, time, seals, waiting, fell, leaves = "0" * 64, "", {}, {}, {}, []
    for seq, line in enumerate(lines):
        try:
            e = json.loads(line)
            c, args, of = e["command"], e["args"], e["args"].get("of")
            need(json.dumps(e, sort_keys=True, separators=(",", ":")).encode() == line, "it is spelled another way")
            need((e["seq"], e["head"]) == (seq, head) and e["time"] >= time, "it does not follow the entry before")
            need(e["ledger"] == json.loads(lines[0])["ledger"], "it is of another ledger")
            p = waiting[of] if c in ("cut", "wait", "void") else e  # whose dice these are
            if c == "seal.open":
                seals[args["tip"]] = {"key": args["tip"], "draw": 0, "cut": "none" if "round" not in args else None, "round": args.get("round")}
            if c == "seal.cut":
                seal = next(s for s in seals.values() if not s["cut"])
                seal["cut"] = f"beacon:{seal['round']}:{of_hex(args['signature'])}"
            if "key" in e:  # keys are shown in order, and each hashes to the one before
                seal = seals[p["seal"]]
                need((p["draw"], of_hex(e["key"])) == (seal["draw"] + 1, seal["key"]), "its key is not the seal's next")
                seal["key"], seal["draw"], p["key"] = e["key"], p["draw"], e["key"]
            if "wait" in e:
                p["wait"], waiting[of if p is not e else seq] = e["wait"], p
            if "cut" in e:
                cut = "none" if p is not e else seals[e["seal"]]["cut"]
                if "signature" in args: cut = f"beacon:{p['wait']['round']}:{of_hex(args['signature'])}"
                if "word" in args: cut = "word:" + args["word"]
                need(e["cut"] == cut, "its cut is not what it shows")
            if "faces" in e:
                sides = [run[0] for run in e["faces"] for _ in run[1:]]
                if again := p.get("again"):
                    stream, at, before = fell[again["of"]]
                    _, at = fall(stream, at, before[:again["after"]])
                else:
                    stream, at = (p["key"], f"drumhead/dice/v1/{e['ledger']}/{p['draw']}/{e['cut']}"), 0
                fell[seq if p is e else of] = stream, at, sides
                need(fall(stream, at, sides)[0] == [f for run in e["faces"] for f in run[1:]], "its faces are not those of its draw")
            if c in ("cut", "void"): del waiting[of]
            for w in said.get(seq, []):
                need(sha(bytes.fromhex(w["salt"]) + w["text"].encode()).hex() in line.decode(), f"the words beside it ({w['name']}) are others")
        except (ValueError, KeyError, TypeError, AttributeError, StopIteration) as why:
            sys.exit(f"bad: entry #{seq}: {why!r}")
        leaves.append(sha(b"\0" + line))
        head, time = leaves[-1].hex(), e["time"]
    return leaves, sum(len(sides) for _, _, sides in fell.values())

def main(path):
    base = path.removesuffix(".jsonl")
    *lines, rest = open(path, "rb").read().split(b"\n")
    said = {}
    for line in open(base + ".words.jsonl") if os.path.exists(base + ".words.jsonl") else []:
        said.setdefault(json.loads(line)["seq"], []).append(json.loads(line))
    leaves, dice = check(lines, said)
    if rest or not leaves: sys.exit("bad: the last line has no end, or there is none")
    if os.path.exists(base + ".checkpoint"):
        _, size, sum_, *_ = open(base + ".checkpoint").read().split("\n")
        if not 0 < int(size) <= len(leaves) or root(leaves[:int(size)]) != base64.b64decode(sum_):
            sys.exit("bad: the checkpoint is of other entries")
    return f"good: {len(leaves)} entries, {dice} dice"

if __name__ == "__main__":
    print(main(sys.argv[1]))
