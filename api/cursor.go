package api

import (
	"encoding/base64"
	"encoding/binary"
	"hash/crc32"

	"github.com/google/uuid"

	"rillturn.example/rillturn/api/gen"
	"rillturn.example/rillturn/service"
)

// A cursor is the base64url text of a checksum, the id and the sort key of the last item of a page. The checksum covers
// the list's name too, so that a mangled cursor or one of another list is refused instead of giving a wrong page.

const (
	checksumBytes = 4
	cursorHead    = checksumBytes + 16
)

func encodeCursor(list string, at service.Cursor) string {
	b := make([]byte, checksumBytes, cursorHead+len(at.Key))
	b = append(b, at.ID[:]...)
	b = append(b, at.Key...)
	binary.BigEndian.PutUint32(b, cursorSum(list, b[checksumBytes:]))
	return base64.RawURLEncoding.EncodeToString(b)
}

func decodeCursor(list, text string) (service.Cursor, error) {
	b, err := base64.RawURLEncoding.Strict().DecodeString(text)
	if err != nil || len(b) < cursorHead || binary.BigEndian.Uint32(b) != cursorSum(list, b[checksumBytes:]) {
		return service.Cursor{}, refuseAll(badRequest, []gen.ProblemError{{
			Pointer: "#query/cursor", Reason: "is not a cursor of this list; take next_cursor of the page before as it is",
		}})
	}
	return service.Cursor{Key: string(b[cursorHead:]), ID: uuid.UUID(b[checksumBytes:cursorHead])}, nil
}

func cursorSum(list string, payload []byte) uint32 {
	return crc32.Update(crc32.ChecksumIEEE([]byte(list)), crc32.IEEETable, payload)
}

// defaultLimit is the page length of the contract when the caller names none.
const defaultLimit = 50

// pageOf reads the paging parameters of a list.
func pageOf(list string, limit *int32, cursor *string) (service.Page, error) {
	p := service.Page{Limit: defaultLimit}
	if limit != nil {
		p.Limit = int(*limit)
	}
	if cursor == nil {
		return p, nil
	}
	at, err := decodeCursor(list, *cursor)
	p.AfterKey, p.AfterID = at.Key, at.ID
	return p, err
}

// nextCursor is the cursor of the next page, if there is one.
func nextCursor(list string, next *service.Cursor) *string {
	if next == nil {
		return nil
	}
	text := encodeCursor(list, *next)
	return &text
}
