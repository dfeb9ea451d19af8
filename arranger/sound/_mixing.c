/* Kernels added up and summed, compiled: `mixing.py` says what this is, and does the same with numpy.

   Both add the same numbers in the same order, so they come to the same bits; for that no product may
   be fused with a sum. Where no compiler is, this is left out. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#define SOURCE "70821e42"
#include <Python.h>
#include <stdint.h>

#ifdef __clang__
#pragma STDC FP_CONTRACT OFF
#elif defined(__GNUC__)
#pragma GCC optimize("fp-contract=off")
#endif

static PyObject *released(Py_buffer *buffers, int count, int fits)
{
    for (int i = 0; i < count; i++)
        PyBuffer_Release(&buffers[i]);
    if (fits)
        Py_RETURN_NONE;
    PyErr_SetString(PyExc_ValueError, "the arrays don't fit each other");
    return NULL;
}

static PyObject *add(PyObject *self, PyObject *args)
{
    Py_buffer b[5];
    Py_ssize_t taps;
    if (!PyArg_ParseTuple(args, "w*y*y*y*y*n", &b[0], &b[1], &b[2], &b[3], &b[4], &taps))
        return NULL;
    double *sums = b[0].buf;
    const int64_t *firsts = b[1].buf, *rows = b[2].buf;
    const double *gains = b[3].buf, *table = b[4].buf;
    Py_ssize_t changes = b[1].len / 8;
    int fits = taps > 0 && b[2].len == b[1].len && b[3].len == b[1].len;
    for (Py_ssize_t i = 0; fits && i < changes; i++)
        fits = firsts[i] >= 0 && firsts[i] <= b[0].len / 8 - taps && rows[i] >= 0
            && rows[i] < b[4].len / 8 / taps;
    for (Py_ssize_t i = 0; fits && i < changes; i++) {
        double *restrict sum = sums + firsts[i];
        const double *restrict kernel = table + rows[i] * taps;
        for (Py_ssize_t j = 0; j < taps; j++)
            sum[j] += kernel[j] * gains[i];
    }
    return released(b, 5, fits);
}

static PyObject *integrate(PyObject *self, PyObject *args)
{
    Py_buffer b[5];
    Py_ssize_t channel, channels;
    float peak;
    if (!PyArg_ParseTuple(args, "y*y*y*w*w*nnf", &b[0], &b[1], &b[2], &b[3], &b[4], &channel,
                          &channels, &peak))
        return NULL;
    const double *taken = b[0].buf, *growing = b[1].buf, *fading = b[2].buf;
    double *height = b[3].buf;
    Py_ssize_t frames = b[0].len / 8, row = b[1].len / 8;
    int fits = row > 0 && b[2].len == b[1].len && channel >= 0 && channel < channels
        && b[3].len == 8 * channels && b[4].len == 4 * frames * channels;
    for (Py_ssize_t start = 0; fits && start < frames; start += row) {
        Py_ssize_t end = start + row < frames ? start + row : frames;
        double sum = 0, last = height[channel];
        for (Py_ssize_t n = start; n < end; n++) {
            double grown = taken[n] * growing[n - start];
            sum = n == start ? grown : sum + grown;
            last = (sum + height[channel]) * fading[n - start];
            float heard = (float)last;
            ((float *)b[4].buf)[n * channels + channel] =
                heard > peak ? peak : heard < -peak ? -peak : heard;
        }
        height[channel] = last;
    }
    return released(b, 5, fits);
}

static PyMethodDef methods[] = {
    {"add", add, METH_VARARGS, "Add kernels to sums."},
    {"integrate", integrate, METH_VARARGS, "Write the leaky integral of sums."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    .m_base = PyModuleDef_HEAD_INIT, .m_name = "_mixing", .m_doc = SOURCE, .m_methods = methods};

PyMODINIT_FUNC PyInit__mixing(void)
{
    return PyModuleDef_Init(&module);
}
