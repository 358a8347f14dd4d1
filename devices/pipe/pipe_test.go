package pipe_test

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"meltwarden/devices/modbus"
	"meltwarden/devices/pipe"
)

var _ modbus.Port = (*pipe.End)(nil)

func TestReadTimesOutWithoutError(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, b := pipe.New()
		start := time.Now()
		require.NoError(t, a.SetReadTimeout(30*time.Millisecond))
		n, err := a.Read(make([]byte, 8))
		assert.NoError(t, err)
		assert.Zero(t, n)
		assert.Equal(t, 30*time.Millisecond, time.Since(start))

		_, err = b.Write([]byte("abc"))
		require.NoError(t, err)
		got := make([]byte, 2)
		n, err = a.Read(got)
		require.NoError(t, err)
		assert.Equal(t, "ab", string(got[:n]))
		n, err = a.Read(got)
		require.NoError(t, err)
		assert.Equal(t, "c", string(got[:n]))
	})
}

func TestCloseWakesBothEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, b := pipe.New()
		errs := make(chan error, 2)
		for _, end := range []*pipe.End{a, b} {
			go func() {
				_, err := end.Read(make([]byte, 8))
				errs <- err
			}()
		}
		synctest.Wait()
		require.NoError(t, a.Close())
		require.NoError(t, a.Close())
		assert.ElementsMatch(t, []error{pipe.ErrClosed, pipe.ErrHungUp}, []error{<-errs, <-errs})
		_, err := b.Write([]byte("x"))
		assert.Equal(t, pipe.ErrHungUp, err)
	})
}

func TestLastWordsBeforeAHangUpAreRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for range 100 {
			a, b := pipe.New()
			_, err := a.Write([]byte("bye"))
			require.NoError(t, err)
			require.NoError(t, a.Close())
			got := make([]byte, 8)
			n, err := b.Read(got)
			require.NoError(t, err)
			assert.Equal(t, "bye", string(got[:n]))
			_, err = b.Read(got)
			assert.Equal(t, pipe.ErrHungUp, err)
		}
	})
}

func TestWriteBlocksWhenTheOtherEndDoesNotRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a, b := pipe.New()
		wrote := make(chan int, 1)
		go func() {
			n, _ := a.Write(make([]byte, pipe.Capacity+100))
			wrote <- n
		}()
		synctest.Wait()
		assert.Empty(t, wrote)
		n, err := b.Read(make([]byte, 100))
		require.NoError(t, err)
		assert.Equal(t, 100, n)
		assert.Equal(t, pipe.Capacity+100, <-wrote)
	})
}
