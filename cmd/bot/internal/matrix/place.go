package matrix

import (
	"strings"

	"drumhead/commands/chat"
)

// A place is a room, or a thread in it: matrix:!room or matrix:!room/$root. A
// person is matrix:@user:server. Only this file reads them.

const threadMark = "/$"

func placeOf(room, root string) chat.Place {
	if root == "" {
		return chat.Place(Name + ":" + room)
	}
	return chat.Place(Name + ":" + room + "/" + root)
}

// readPlace is the room and the root of the thread of a place.
func readPlace(p chat.Place) (room, root string, ok bool) {
	rest, ok := strings.CutPrefix(string(p), Name+":")
	if !ok || !strings.HasPrefix(rest, "!") {
		return "", "", false
	}
	if i := strings.Index(rest, threadMark); i > 0 {
		return rest[:i], rest[i+1:], true
	}
	return rest, "", true
}

func personOf(user string) chat.Person { return chat.Person(Name + ":" + user) }

func readPerson(p chat.Person) (user string, ok bool) {
	user, ok = strings.CutPrefix(string(p), Name+":")
	return user, ok && userForm.MatchString(user)
}
