/* Eigenvalues of small symmetric matrices. */
#ifndef FETTLE_CORE_EIGEN_H
#define FETTLE_CORE_EIGEN_H

enum { EIGEN_MOST = 8 };

/* The eigenvalues of the symmetric n x n matrix (row by row; n at most EIGEN_MOST), the least
 * first, into value[n]; row i of `vector` (n x n) is the unit vector that goes with the i-th. The
 * matrix is overwritten. Cyclic Jacobi (Golub & Van Loan, "Matrix Computations", 8.5): accurate to
 * rounding beside the greatest, whatever the matrix; what is not finite gives what is not finite.
 */
void eigen_symmetric(int n, double *matrix, double *value, double *vector);

#endif
