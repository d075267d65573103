package matrix

import (
	"strings"

	"drumhead/commands/chat"
)

// A place is a room, or a thread in it: matrix:SERVER:!room or, with the root of
// a thread, matrix:SERVER:!room/$root. The part that tells rooms apart stands
// last, as it does on other platforms: files are called after it. A person is
// matrix:@user:server. Only this file reads them.

const threadMark = "/$"

func placeOf(room, root string) chat.Place {
	if local, server, ok := strings.Cut(room, ":"); ok {
		room = server + ":" + local
	}
	if root != "" {
		room += "/" + root
	}
	return chat.Place(Name + ":" + room)
}

// readPlace is the room and the root of the thread of a place.
func readPlace(p chat.Place) (room, root string, ok bool) {
	rest, ok := strings.CutPrefix(string(p), Name+":")
	if !ok {
		return "", "", false
	}
	if i := strings.Index(rest, threadMark); i > 0 {
		rest, root = rest[:i], rest[i+1:]
	}
	if strings.HasPrefix(rest, "!") {
		return rest, root, true
	}
	server, local, ok := strings.Cut(rest, ":!")
	if !ok || server == "" {
		return "", "", false
	}
	return "!" + local + ":" + server, root, true
}

func personOf(user string) chat.Person { return chat.Person(Name + ":" + user) }

func readPerson(p chat.Person) (user string, ok bool) {
	user, ok = strings.CutPrefix(string(p), Name+":")
	return user, ok && userForm.MatchString(user)
}
