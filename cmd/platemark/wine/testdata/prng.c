/*
 * bcryptprimitives.dll for wine releases that lack it. Go's runtime asks it for
 * random bytes; RtlGenRandom, exported as SystemFunction036, gives them.
 */
#include <windows.h>

BOOLEAN NTAPI SystemFunction036(PVOID data, ULONG size);

__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE data, SIZE_T size)
{
	return SystemFunction036(data, (ULONG)size);
}
